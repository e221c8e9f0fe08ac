-- The business days of the schemes $1, in order.
SELECT scheme, business_date, instant_us(starts_at), instant_us(ends_at), state
  FROM business_day WHERE scheme = ANY ($1::integer[]) ORDER BY scheme, business_date
