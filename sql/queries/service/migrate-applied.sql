-- Notes migration $1, named $2.
INSERT INTO schema_version (version, name) VALUES ($1::integer, $2::text)
