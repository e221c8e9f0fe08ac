-- The bounds of day $2 of scheme $1, when and by whom it was closed, whether it is under dual control, and its cut;
-- without the cut, or both, where it was cut before they were kept.
SELECT CASE WHEN s.last_change IS NULL
            THEN json_build_array(instant_us(d.starts_at), instant_us(d.ends_at), instant_us(s.closed_at), s.closed_by)
            WHEN c.recorded_at IS NULL
            THEN json_build_array(instant_us(d.starts_at), instant_us(d.ends_at), instant_us(s.closed_at), s.closed_by,
                                  d.dual_control)
            ELSE json_build_array(instant_us(d.starts_at), instant_us(d.ends_at), instant_us(s.closed_at), s.closed_by,
                                  d.dual_control, c.after_entry, instant_us(c.recorded_at)) END::text
  FROM business_day d JOIN settlement s USING (scheme, business_date) LEFT JOIN day_cut c USING (scheme, business_date)
 WHERE d.scheme = $1::integer AND d.business_date = $2::date
