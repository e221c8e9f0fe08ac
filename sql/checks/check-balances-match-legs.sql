-- Check: what the balances say moved on an account in a day is the sum of its legs, and what they say stood at the end of a
-- closed day is all that moved before. $1 scheme.
WITH moved AS (
    SELECT account, business_date, sum(amount) AS amount FROM leg WHERE scheme = $1::integer GROUP BY 1, 2),
running AS (
    SELECT account, business_date AS moved_on, amount, sum(amount) OVER (PARTITION BY account ORDER BY business_date) AS through FROM moved),
compared AS (
    SELECT account, moved_on AS business_date,
           coalesce(r.amount, 0) <> coalesce(b.movement, 0)
           OR (d.state = 'closed') IS DISTINCT FROM (b.closing IS NOT NULL)
           OR b.closing <> coalesce(r.through, 0) AS is_broken
      FROM running r
      FULL JOIN (SELECT account, business_date AS moved_on, sum(movement) AS movement, max(closing) AS closing
                   FROM (SELECT account, business_date, movement, closing FROM balance WHERE scheme = $1::integer
                         UNION ALL
                         SELECT account, business_date, movement, NULL FROM recent_balance WHERE scheme = $1::integer) AS part
                  GROUP BY account, business_date) b
           USING (account, moved_on)
      LEFT JOIN business_day d ON d.scheme = $1::integer AND d.business_date = moved_on)
SELECT count(*), count(*) FILTER (WHERE is_broken),
       first_lines(array_agg(format('%s on %s is not what its legs say', coalesce(account_name(account), account::text, 'no account'), business_date)
                             ORDER BY business_date, account) FILTER (WHERE is_broken))
  FROM compared
