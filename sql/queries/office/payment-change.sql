-- Changes payment $2 of scheme $1: its status becomes $3; and says that at $4 the key $5 did $6 to it, with note $7, by
-- entry $8, with $9 as the amount that the bank booked.
WITH changed AS (
    UPDATE payment SET status = $3::text, released = released OR $6::text = 'release'
     WHERE scheme = $1::integer AND payment_id = $2::text
    RETURNING scheme, payment_id),
changed_pool AS (
    UPDATE pool_payment SET status = $3::text, released = released OR $6::text = 'release'
     WHERE scheme = $1::integer AND payment_id = $2::text
    RETURNING scheme, payment_id)
INSERT INTO payment_change (scheme, payment_id, position, changed_at, api_key, change, note, entry, booked)
SELECT scheme, payment_id,
       (SELECT coalesce(max(c.position), 0) + 1 FROM payment_change c
         WHERE (c.scheme, c.payment_id) = (changed.scheme, changed.payment_id)),
       $4::timestamptz, nullif($5::integer, 0), $6::text, $7::text, nullif($8::bigint, 0), nullif($9::bigint, 0)
  FROM (SELECT * FROM changed UNION ALL SELECT * FROM changed_pool) AS changed
