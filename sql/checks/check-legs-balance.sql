-- Check: the legs of each entry sum to zero in each unit, and so do all balances of a unit. $1 scheme.
WITH of_entry AS (
    SELECT format('entry %s', entry) AS what,
           cardinality(accounts) <> cardinality(amounts)
           OR EXISTS (SELECT FROM unnest(accounts, amounts) AS leg(account, amount)
                       GROUP BY account_unit(account) HAVING sum(amount) IS DISTINCT FROM 0) AS is_broken
      FROM entry WHERE scheme = $1::integer),
of_unit AS (
    SELECT format('the balances in %s', coalesce(max(c.code), 'money')) AS what, sum(movement) <> 0 AS is_broken
      FROM (SELECT account, movement FROM balance WHERE scheme = $1::integer
            UNION ALL
            SELECT account, movement FROM recent_balance WHERE scheme = $1::integer) b
      LEFT JOIN cup_type c ON c.id = account_unit(b.account)
     GROUP BY account_unit(b.account))
SELECT count(*), count(*) FILTER (WHERE is_broken),
       first_lines(array_agg(what || ' does not sum to zero' ORDER BY what) FILTER (WHERE is_broken))
  FROM (SELECT * FROM of_entry UNION ALL SELECT * FROM of_unit) AS examined
