-- Keeps file $2 of scheme $1, of day $3, type $4, message id $5, made at $6 by key $7, with the sum $8, content $9 and
-- hash $10; and which payments are in it: $11 ids, $12 mandates.
WITH added AS (
    INSERT INTO payment_file (scheme, file_id, business_date, type, message_id, created_at, api_key, payments, total, content, sha256)
    VALUES ($1::integer, $2::uuid, $3::date, $4::text, $5::text, $6::timestamptz, $7::integer, cardinality($11::text[]),
            $8::bigint, $9::bytea, $10::bytea))
INSERT INTO payment_in_file (scheme, payment_id, file_id, mandate)
SELECT $1::integer, payment_id, $2::uuid, mandate FROM unnest($11::text[], $12::text[]) AS f(payment_id, mandate)
