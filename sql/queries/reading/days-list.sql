-- A slice of a scheme's business days, each as JSON, with its number. $1 scheme, after day $2 (days since 1970), at
-- most $3.
SELECT json_strip_nulls(json_build_object(
           'date', business_date, 'state', state, 'starts_at', instant_text(starts_at), 'ends_at', instant_text(ends_at),
           'entries', entries, 'events', events, 'late_events', late_events)),
       business_date - date '1970-01-01'
  FROM business_day
 WHERE scheme = $1::integer AND business_date > date '1970-01-01' + $2::integer
 ORDER BY business_date LIMIT $3::integer
