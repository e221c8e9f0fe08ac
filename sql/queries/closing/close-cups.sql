-- Where cups are, by account, through day $2 of scheme $1: with customers, in transit, and at sites.
SELECT account, amount FROM folded_balances_through($1::integer, $2::date)
 WHERE account_kind_of(account) IN (:accounts_stock, :accounts_transit, :accounts_out)
   AND amount <> 0
 ORDER BY account
