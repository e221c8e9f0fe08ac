-- As close-counted, by cup type: from the entries of day $2 of scheme $1, which takes no more. A reversal takes back
-- what the entry that it reverses had counted.
WITH counted AS (
    SELECT e.site, coalesce(o.business_date, e.business_date) AS fee_date, CASE e.kind WHEN :kind_reversal THEN -1 ELSE 1 END AS sign,
           coalesce(o.accounts, e.accounts) AS accounts, coalesce(o.amounts, e.amounts) AS amounts
      FROM business_day d
      JOIN entry e ON e.scheme = d.scheme AND e.entry BETWEEN d.first_entry AND d.last_entry AND e.business_date = d.business_date
      LEFT JOIN LATERAL (
           SELECT r.kind, r.business_date, r.accounts, r.amounts
             FROM entry_reference f JOIN entry r ON r.scheme = f.scheme AND r.entry = f.referred
            WHERE e.kind = :kind_reversal AND f.scheme = e.scheme AND f.entry = e.entry) o ON true
     WHERE d.scheme = $1::integer AND d.business_date = $2::date AND coalesce(o.kind, e.kind) IN (:kinds_counter))
SELECT c.site, c.fee_date, account_cup_type(l.account),
       coalesce(sum(c.sign * -l.amount) FILTER (WHERE l.amount < 0), 0)::bigint,
       coalesce(sum(c.sign * l.amount) FILTER (WHERE l.amount > 0), 0)::bigint
  FROM counted c CROSS JOIN unnest(c.accounts, c.amounts) AS l(account, amount)
 WHERE l.account >> 48 IN (:accounts_stock)
 GROUP BY 1, 2, 3
 ORDER BY 1, 2 DESC, 3
