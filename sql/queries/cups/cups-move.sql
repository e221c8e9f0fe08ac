-- Notes that the entries of scheme $1 after $2 were looked at through $3. No row: somebody else has.
INSERT INTO sighting_place AS p (scheme, entry)
SELECT $1::integer, $3::bigint
 WHERE $2::bigint = coalesce((SELECT entry FROM sighting_place WHERE scheme = $1::integer), 0)
    ON CONFLICT (scheme) DO UPDATE SET entry = excluded.entry WHERE p.entry = $2::bigint
