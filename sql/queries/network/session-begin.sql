-- Begins a session of key $1, whose cookie has the hash $2, at $3. $4: the hash of the secret that was given. No row:
-- the key has been revoked or renewed meanwhile.
INSERT INTO browser_session (hash, api_key, key_hash, begun_at, seen_at)
SELECT $2::bytea, id, secret_hash, $3::timestamptz, $3::timestamptz
  FROM api_key
 WHERE id = $1::integer AND secret_hash = $4::bytea AND revoked_at IS NULL
RETURNING session
