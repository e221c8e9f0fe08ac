-- The operator of the pool of scheme $1, as the bank knows it, and an id that nobody has.
SELECT operator->>'name', operator->'bank_account'->>'iban', operator->'bank_account'->>'account',
       operator->'bank_account'->>'bank_code', operator->>'bic', operator->>'creditor_id', gen_random_uuid()
  FROM scheme WHERE id = $1::integer
