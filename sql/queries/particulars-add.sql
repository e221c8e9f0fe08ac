-- Keeps the particulars of day $2 of scheme $1, unless another instance has.
INSERT INTO particulars (scheme, business_date, previous, parts, digest)
VALUES ($1::integer, $2::date, $3::bytea, $4::bytea, $5::bytea)
    ON CONFLICT DO NOTHING
