-- Notes in which stretches of 512 entries of scheme $1, after entry $2 through $3, cups left a place of the scheme
-- without all being named. A reversal takes back what its event moved, and explains nothing.
INSERT INTO unnamed_stretch AS u (scheme, account, stretch, first_entry, last_entry, first_at, last_at)
SELECT $1::integer, m.account, m.entry / 512, min(m.entry), max(m.entry), min(m.occurred_at), max(m.occurred_at)
  FROM (SELECT e.entry, e.occurred_at, l.account, -sum(l.amount) AS cups
          FROM entry e CROSS JOIN LATERAL unnest(e.accounts, e.amounts) AS l(account, amount)
         WHERE e.scheme = $1::integer AND e.entry > $2::bigint AND e.entry <= $3::bigint
           AND e.kind NOT IN (:kind_reversal, :kind_reversal_abroad)
           AND l.amount < 0 AND account_unit(l.account) <> 0
           AND account_kind_of(l.account) NOT IN (:accounts_stock, :account_in_transit, :account_supply)
         GROUP BY 1, 2, 3) AS m
  LEFT JOIN (SELECT entry, came_from AS account, count(*) AS cups
               FROM sighting
              WHERE scheme = $1::integer AND entry > $2::bigint AND entry <= $3::bigint AND went_to <> came_from
              GROUP BY 1, 2) AS n USING (entry, account)
 WHERE m.cups > coalesce(n.cups, 0)
 GROUP BY 2, 3
    ON CONFLICT (scheme, account, stretch) DO UPDATE
   SET first_entry = least(u.first_entry, excluded.first_entry), last_entry = greatest(u.last_entry, excluded.last_entry),
       first_at = least(u.first_at, excluded.first_at), last_at = greatest(u.last_at, excluded.last_at)
