-- All schemes, in the order of their codes: the facts that posting needs.
SELECT id, code, currency, stock_terms = 'on_deposit', count_tolerance, variance_limit, carry_days, close_after_minutes
  FROM scheme ORDER BY code COLLATE "C"
