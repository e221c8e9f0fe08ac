-- Says which entries of scheme $1 refer to which.
INSERT INTO entry_reference (scheme, referred, entry, kind)
SELECT $1::integer, r.* FROM unnest($2::bigint[], $3::bigint[], $4::integer[]) AS r
