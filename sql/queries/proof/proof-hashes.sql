-- Among the entries of scheme $1 after $3, through $4: the hashes of those of day $2 one after the other, how
-- many these are, and how many entries are in the range, of any day.
SELECT string_agg(hash, ''::bytea ORDER BY entry) FILTER (WHERE business_date = $2::date),
       count(*) FILTER (WHERE business_date = $2::date), count(*)
  FROM entry
 WHERE scheme = $1::integer AND entry > $3::bigint AND entry <= $4::bigint
