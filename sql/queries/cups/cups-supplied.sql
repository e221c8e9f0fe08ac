-- Adds to the cups that scheme $1 was supplied or opened with, without names, what entries after $2 through $3 say.
-- Reversals of such entries are among them, and give back the names as well.
INSERT INTO cup_supply AS k (scheme, cup_type, unnamed, entry)
SELECT $1::integer, account_cup_type(m.account), sum(m.cups), max(m.entry)
  FROM (SELECT e.entry, l.account, -l.amount AS cups
          FROM entry e CROSS JOIN LATERAL unnest(e.accounts, e.amounts) AS l(account, amount)
         WHERE e.scheme = $1::integer AND e.entry > $2::bigint AND e.entry <= $3::bigint
           AND account_kind_of(l.account) = :account_supply
        UNION ALL
        SELECT s.entry, s.came_from, -1
          FROM sighting s
         WHERE s.scheme = $1::integer AND s.entry > $2::bigint AND s.entry <= $3::bigint
           AND account_kind_of(s.came_from) = :account_supply
        UNION ALL
        SELECT r.entry, s.came_from, 1
          FROM entry_reference r JOIN sighting s ON s.scheme = r.scheme AND s.entry = r.referred
         WHERE r.scheme = $1::integer AND r.entry > $2::bigint AND r.entry <= $3::bigint AND r.kind = :kind_reversal
           AND account_kind_of(s.came_from) = :account_supply) AS m
 GROUP BY 2 HAVING sum(m.cups) <> 0
    ON CONFLICT (scheme, cup_type) DO UPDATE SET unnamed = k.unnamed + excluded.unnamed, entry = excluded.entry
