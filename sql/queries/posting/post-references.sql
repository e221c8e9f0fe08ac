-- Says which entries of the schemes $1 refer to which.
INSERT INTO entry_reference (scheme, referred, entry, kind)
SELECT r.* FROM unnest($1::integer[], $2::bigint[], $3::bigint[], $4::integer[]) AS r
