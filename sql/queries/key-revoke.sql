-- Revokes the key of a name, for ever. $1: the name.
UPDATE api_key SET revoked_at = now() WHERE name = $1::text AND revoked_at IS NULL
