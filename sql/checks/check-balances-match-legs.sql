-- Check: the movement of an account in a day, as the balances have it, is the sum of its legs, and its
-- balance at the end of a closed day is the sum of all movements before; and so are the sums of the balances
-- of each kind. $1 scheme.
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
      LEFT JOIN business_day d ON d.scheme = $1::integer AND d.business_date = moved_on),
-- The sums by kind leave out recent movements; nor do legs then.
kind_moved AS (
    SELECT business_date, account_kind_of(account) AS kind, account_cup_type(account) AS cup_type, sum(amount) AS amount
      FROM (SELECT business_date, account, amount FROM moved
            UNION ALL
            SELECT business_date, account, -movement FROM recent_balance WHERE scheme = $1::integer) AS part
     GROUP BY 1, 2, 3),
kind_compared AS (
    SELECT business_date, kind, cup_type, coalesce(m.amount, 0) <> coalesce(k.movement, 0) AS is_broken
      FROM kind_moved m
      FULL JOIN (SELECT business_date, kind, cup_type, movement FROM kind_movement WHERE scheme = $1::integer) k
           USING (business_date, kind, cup_type)
    UNION ALL
    SELECT NULL, kind, cup_type, coalesce(m.amount, 0) <> coalesce(k.amount, 0)
      FROM (SELECT kind, cup_type, sum(amount) AS amount FROM kind_moved GROUP BY 1, 2) m
      FULL JOIN (SELECT kind, cup_type, amount FROM kind_balance WHERE scheme = $1::integer) k USING (kind, cup_type)),
examined AS ( -- only broken balances are named: names are looked up one by one
    SELECT business_date AS at, is_broken,
           CASE WHEN is_broken THEN
               format('%s on %s is not what its legs say', coalesce(account_name(account), account::text, 'no account'), business_date)
           END AS what
      FROM compared
    UNION ALL
    SELECT business_date, is_broken,
           CASE WHEN is_broken THEN
               format('the sum of %s%s is not what its legs say',
                      coalesce((SELECT word FROM account_kind k WHERE k.kind = c.kind), c.kind::text), coalesce(' on ' || business_date, ''))
           END
      FROM kind_compared c)
SELECT count(*), count(*) FILTER (WHERE is_broken),
       first_lines(array_agg(what ORDER BY at, what) FILTER (WHERE is_broken))
  FROM examined
