-- All schemes, in the order of their codes: what posting needs to know of them.
SELECT id, code, currency, stock_terms = 'on_deposit', count_tolerance, variance_limit, carry_days, close_after_minutes
  FROM scheme ORDER BY code COLLATE "C"
