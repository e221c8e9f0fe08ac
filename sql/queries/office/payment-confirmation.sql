-- The legs of the entry that confirmed payment $2 of scheme $1.
SELECT e.accounts, e.amounts
  FROM payment_change c JOIN entry e ON (e.scheme, e.entry) = (c.scheme, c.entry)
 WHERE c.scheme = $1::integer AND c.payment_id = $2::text AND c.change = 'confirm'
