-- Fixes the balances through day $2 of scheme $1 on the accounts that the day touched. The statement looks up
-- each account by key, even if the planner knows nothing of a young table.
INSERT INTO balance (scheme, account, business_date, movement, closing)
SELECT $1::integer, a.account, $2::date, 0, folded_balance_through($1::integer, a.account, $2::date)
  FROM folded_accounts_of($1::integer) AS a(account)
 CROSS JOIN LATERAL (SELECT FROM balance b
                      WHERE b.scheme = $1::integer AND b.account = a.account AND b.business_date = $2::date
                     OFFSET 0) touched
    ON CONFLICT (scheme, account, business_date) DO UPDATE SET closing = excluded.closing
