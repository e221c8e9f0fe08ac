-- The business days of scheme $1, in order.
SELECT business_date, instant_us(starts_at), instant_us(ends_at), state
  FROM business_day WHERE scheme = $1::integer ORDER BY business_date
