-- Gives key $1 another secret, unless it is revoked: its SHA-256 is $2, since $3. The name of the key.
UPDATE api_key SET secret_hash = $2::bytea, renewed_at = $3::timestamptz WHERE id = $1::integer AND revoked_at IS NULL
RETURNING name
