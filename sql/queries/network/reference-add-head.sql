-- The head of a scheme that has none yet. $1: the scheme's code, $2: the version of the reference data.
INSERT INTO scheme_head (scheme, reference_version)
SELECT id, $2 FROM scheme WHERE code = $1::text
ON CONFLICT DO NOTHING
