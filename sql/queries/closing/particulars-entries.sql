-- The entries of day $2 among those of scheme $1 after $3, through $4: the facts that are fixed with them beside
-- their leaves, and their exceptions without those of cups with identity, which come to light later; and how many
-- entries are in the range, of any day. A range, for a LIMIT over a young table may be planned to sort all that is
-- left.
WITH slice AS (
    SELECT entry, business_date, recorded_at, api_key FROM entry
     WHERE scheme = $1::integer AND entry > $3::bigint AND entry <= $4::bigint)
SELECT (SELECT string_agg(json_build_array(entry, instant_us(recorded_at), api_key)::text, E'\n' ORDER BY entry)
          FROM slice WHERE business_date = $2::date),
       (SELECT string_agg(json_build_array(x.entry, x.position, x.kind, x.site, x.cup_type, x.quantity, x.amount)::text, E'\n'
                          ORDER BY x.entry, x.position)
          FROM exception x JOIN slice USING (entry)
         WHERE x.position < 1000 AND x.scheme = $1::integer AND x.entry > $3::bigint AND x.entry <= $4::bigint AND slice.business_date = $2::date),
       (SELECT count(*) FROM slice)
