-- The bounds of day $2 of scheme $1, when and by whom it was closed, and whether it is under dual control; without that
-- where it was closed before changes were kept.
SELECT CASE WHEN s.last_change IS NULL
            THEN json_build_array(instant_us(d.starts_at), instant_us(d.ends_at), instant_us(s.closed_at), s.closed_by)
            ELSE json_build_array(instant_us(d.starts_at), instant_us(d.ends_at), instant_us(s.closed_at), s.closed_by,
                                  d.dual_control) END::text
  FROM business_day d JOIN settlement s USING (scheme, business_date)
 WHERE d.scheme = $1::integer AND d.business_date = $2::date
