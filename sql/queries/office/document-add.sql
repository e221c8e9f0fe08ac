-- Keeps a message of the bank's for scheme $1: received at $2 from key $3, with the bank's id $4, content $5 and hash
-- $6.
INSERT INTO bank_document (scheme, received_at, api_key, message_id, content, sha256)
VALUES ($1::integer, $2::timestamptz, $3::integer, $4::text, $5::bytea, $6::bytea)
RETURNING document
