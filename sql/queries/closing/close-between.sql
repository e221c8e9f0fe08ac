-- The debt of scheme $1 to each host through day $2: the host; the debt in minor units of the books, and of the agreed
-- currency; the same returns in the host's books; and whether the agreed currency is the host's. A payment that failed
-- is owed again. Costs by open days.
SELECT f.host,
       -folded_balance_through($1::integer, account_of(:account_between_schemes, $1::integer << 16 | f.host, 0), $2::date),
       sums.owed, sums.by_host,
       coalesce((SELECT a.in_host_currency FROM agreement a WHERE a.home = $1::integer AND a.host = f.host LIMIT 1), true)
  FROM following_place f
 CROSS JOIN LATERAL between_through($1::integer, f.home, f.host, $2::date) AS sums
 WHERE f.home = $1::integer
 ORDER BY f.host
