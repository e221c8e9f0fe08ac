-- All schemes, in the order of their codes: the facts that posting needs.
SELECT id, code, currency, stock_terms = 'on_deposit', count_tolerance, variance_limit, carry_days, close_after_minutes,
       loss_bearer, closed_on, posting_group,
       (SELECT instant_us(d.starts_at) FROM business_day d WHERE d.scheme = scheme.id ORDER BY d.business_date LIMIT 1)
  FROM scheme ORDER BY code COLLATE "C"
