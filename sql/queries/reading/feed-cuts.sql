-- The cuts of days of scheme $1 for a slice of its feed, each as JSON, with the entry that it stands after and its day
-- (days since 1970): after entry $2 and, among those that stand after that same entry, after day $3; up to those that
-- stand after entry $4; at most $5.
SELECT json_strip_nulls(json_build_object(
           'business_date', business_date, 'recorded_at', instant_text(recorded_at), 'kind', 'day_cut')),
       after_entry, business_date - date '1970-01-01'
  FROM day_cut
 WHERE scheme = $1::integer AND (after_entry, business_date) > ($2::bigint, date '1970-01-01' + $3::integer)
   AND after_entry <= $4::bigint
 ORDER BY after_entry, business_date LIMIT $5::integer
