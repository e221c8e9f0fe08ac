-- Says which entries of the schemes $1 refer to which: entries $3 to $2, and of what kind $4 the former are. $5: the
-- scheme of the latter, a dispatch, or 0: the same.
WITH said AS (
    SELECT r.* FROM unnest($1::integer[], $2::bigint[], $3::bigint[], $4::integer[], $5::integer[])
                    AS r(scheme, referred, entry, kind, host)),
abroad AS (
    INSERT INTO host_dispatch (scheme, entry, host, dispatch, kind)
    SELECT scheme, entry, host, referred, kind FROM said WHERE host <> 0)
INSERT INTO entry_reference (scheme, referred, entry, kind)
SELECT scheme, referred, entry, kind FROM said WHERE host = 0
