-- The heads of the schemes that have none yet. $1: the version of the reference data.
INSERT INTO scheme_head (scheme, reference_version)
SELECT id, $1::bigint FROM scheme s WHERE NOT EXISTS (SELECT FROM scheme_head h WHERE h.scheme = s.id) ORDER BY id
