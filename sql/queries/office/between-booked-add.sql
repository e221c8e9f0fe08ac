-- Line $2 of the bank of host $1 has paid what home $3 owed, by its payment $4: its entry posted to $5, and was $6 of
-- the agreed amount and $7 in the books.
INSERT INTO between_booked (scheme, line, home, payment_id, business_date, agreed, booked)
VALUES ($1::integer, $2::bigint, $3::integer, $4::text, $5::date, $6::bigint, $7::bigint)
