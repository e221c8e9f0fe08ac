-- Keeps the particulars of day $2 of scheme $1, and with them the day's movements of cups and at tills, for
-- the reports; unless another instance has.
WITH added AS (
    INSERT INTO particulars (scheme, business_date, previous, parts, digest)
    VALUES ($1::integer, $2::date, $3::bytea, $4::bytea, $5::bytea)
        ON CONFLICT DO NOTHING RETURNING scheme, business_date),
at_tills AS (
    INSERT INTO till_day
    SELECT a.scheme, a.business_date, t.* FROM added a CROSS JOIN LATERAL till_day_of(a.scheme, a.business_date, NULL) AS t)
INSERT INTO cup_day
SELECT a.scheme, a.business_date, c.* FROM added a CROSS JOIN LATERAL cup_day_of(a.scheme, a.business_date) AS c
