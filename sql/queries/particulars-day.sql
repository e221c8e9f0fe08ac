-- The bounds of day $2 of scheme $1, and when and by whom it was closed.
SELECT json_build_array(instant_us(d.starts_at), instant_us(d.ends_at), instant_us(s.closed_at), s.closed_by)::text
  FROM business_day d JOIN settlement s USING (scheme, business_date)
 WHERE d.scheme = $1::integer AND d.business_date = $2::date
