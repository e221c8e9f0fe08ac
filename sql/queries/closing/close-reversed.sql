-- The cups that sites had issued and taken back on earlier days, and that the reversals of day $2 of scheme
-- $1 took back.
SELECT site, original_date, issued, returned
  FROM reversed_day WHERE scheme = $1::integer AND business_date = $2::date
 ORDER BY site, original_date
