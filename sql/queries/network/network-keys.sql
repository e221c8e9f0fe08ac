-- All keys in force, in the order of their hashes.
SELECT id, name, role, secret_hash, participant, coalesce(language, '') FROM api_key WHERE revoked_at IS NULL ORDER BY secret_hash
