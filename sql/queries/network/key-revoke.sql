-- Revokes the key of a name, for ever. $1: the name; $2: the key that does so.
UPDATE api_key SET revoked_at = now(), revoked_by = nullif($2::integer, 0) WHERE name = $1::text AND revoked_at IS NULL
