-- The number of the last migration applied.
SELECT coalesce(max(version), 0) FROM schema_version
