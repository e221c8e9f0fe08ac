-- All terms, by scheme and date.
SELECT scheme, effective_date, netting = 'direct', minimum_payment, service_fee, handling_fee, tax_rate_ppm,
       shortage_terms = 'charge', variance_terms = 'charge'
  FROM terms ORDER BY scheme, effective_date
