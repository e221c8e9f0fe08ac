-- Fixes the balances through day $2 of scheme $1 on the accounts that the day touched.
UPDATE balance b
   SET closing = b.movement + coalesce((SELECT p.closing FROM balance p
                                         WHERE p.scheme = b.scheme AND p.account = b.account
                                           AND p.business_date < b.business_date AND p.closing IS NOT NULL
                                         ORDER BY p.business_date DESC LIMIT 1), 0)
  FROM accounts_of($1::integer) AS a
 WHERE b.scheme = $1::integer AND b.account = a AND b.business_date = $2::date
