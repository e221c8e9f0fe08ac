-- The seal of the last day of scheme $1 that is closed.
SELECT seal FROM settlement WHERE scheme = $1::integer ORDER BY business_date DESC LIMIT 1
