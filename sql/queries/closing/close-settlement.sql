-- The settlement of day $2 of scheme $1, closed at $3 by $4, with its seal, and the last change of reference
-- data and keys that there is: under the head's lock nobody makes another. Each present site gets a line of
-- it, idle sites as well; a later site does not.
WITH line AS (
    INSERT INTO site_day (scheme, business_date, site)
    SELECT $1::integer, $2::date, id FROM site WHERE scheme = $1::integer
        ON CONFLICT DO NOTHING)
INSERT INTO settlement (scheme, business_date, closed_at, closed_by, entries, root, previous, seal, last_change)
VALUES ($1::integer, $2::date, $3::timestamptz, nullif($4::integer, 0), $5::bigint, $6::bytea, $7::bytea, $8::bytea,
        (SELECT coalesce(max(number), 0) FROM reference_change))
