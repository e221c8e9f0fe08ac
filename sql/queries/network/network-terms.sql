-- All terms, by scheme and date; the days in pay_days as the bits of two numbers.
SELECT scheme, effective_date, netting = 'direct', minimum_payment, service_fee, handling_fee, coalesce(monthly_fee, 0),
       tax_rate_ppm, shortage_terms = 'charge', variance_terms = 'charge',
       (SELECT coalesce(bit_or(1 << d - 1), 0) FROM unnest(pay_weekdays) AS d),
       (SELECT coalesce(bit_or(1 << d - 1), 0) FROM unnest(pay_month_days) AS d)
  FROM terms ORDER BY scheme, effective_date
