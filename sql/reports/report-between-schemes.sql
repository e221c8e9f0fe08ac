-- The debts of two schemes to each other, and the cups of each at the other: for each pair of home and host a row for
-- each cup type, and one for the money. $1 scheme, as home or host. Both operators read the same rows. `on_the_way`:
-- sent home by the host, and neither received nor lost yet. `to_follow`: of the host's returns that are not in the
-- home's books yet. The money is exact and in the agreed currency. The host is owed the sum of four figures: the home
-- has not settled it, or its bank has not paid it, or the home has still to follow it, or it is under way between the
-- banks. Beside it stand the balances of both books. It costs by pairs and by what is under way.
WITH pair AS (SELECT home, host, entry AS place FROM following_place WHERE $1::integer IN (home, host)),
visiting AS (
    SELECT p.home, p.host, account_cup_type(b.account) AS cup_type, -b.amount AS cups
      FROM pair p
     CROSS JOIN LATERAL balances_between(p.host, account_of(:account_visiting, p.home, 0), account_of(:account_visiting, p.home, 65535),
                                         'infinity') AS b),
abroad AS (
    SELECT p.home, p.host, account_cup_type(b.account) AS cup_type, b.amount AS cups
      FROM pair p
     CROSS JOIN LATERAL balances_between(p.home, account_of(:account_abroad, p.host, 0), account_of(:account_abroad, p.host, 65535),
                                         'infinity') AS b),
to_follow AS (
    SELECT p.home, p.host, account_cup_type(l.account) AS cup_type, -sum(l.amount) AS cups
      FROM pair p
      JOIN agreed_amount a ON a.scheme = p.host AND a.home = p.home AND a.host = p.host AND a.entry > p.place
      JOIN entry e ON e.scheme = a.scheme AND e.entry = a.entry
     CROSS JOIN LATERAL unnest(e.accounts, e.amounts) AS l(account, amount)
     WHERE account_kind_of(l.account) = :account_visiting AND account_owner(l.account) = p.home
     GROUP BY 1, 2, 3),
cups AS (
    SELECT home, host, cup_type, coalesce(v.cups, 0) AS visiting, coalesce(a.cups, 0) AS abroad, coalesce(f.cups, 0) AS to_follow
      FROM visiting v FULL JOIN abroad a USING (home, host, cup_type) FULL JOIN to_follow f USING (home, host, cup_type)),
money AS (
    SELECT p.home, p.host, k.owed AS agreed, h.owed AS not_settled, h.due AS settled,
           (SELECT coalesce(sum(a.amount), 0) FROM agreed_amount a
             WHERE a.scheme = p.host AND a.home = p.home AND a.host = p.host AND a.entry > p.place) AS to_follow,
           (SELECT coalesce(sum(t.by_home - t.by_host), 0) FROM between_transit t
             WHERE t.home = p.home AND t.host = p.host) AS under_way,
           (SELECT g.in_host_currency FROM agreement g WHERE g.home = p.home AND g.host = p.host LIMIT 1) AS in_host_currency,
           balance_through(p.host, account_of(:account_between_schemes, p.home << 16 | p.host, 0), 'infinity') AS by_host,
           -balance_through(p.home, account_of(:account_between_schemes, p.home << 16 | p.host, 0), 'infinity')
           - balance_through(p.home, account_of(:account_settlement_due_scheme, p.host, 0), 'infinity') AS by_home
      FROM pair p
     CROSS JOIN LATERAL between_through(p.host, p.home, p.host, 'infinity') AS k
     CROSS JOIN LATERAL between_through(p.home, p.home, p.host, 'infinity') AS h),
line AS (
    SELECT c.home, c.host, 1 AS part, t.code AS item, c.visiting, c.abroad + c.to_follow - c.visiting AS on_the_way, c.abroad,
           c.to_follow, NULL::text AS agreed, NULL::text AS currency, NULL::text AS not_settled, NULL::text AS settled,
           NULL::text AS to_follow_amount, NULL::text AS under_way, NULL::text AS by_host,
           NULL::text AS host_currency, NULL::text AS by_home, NULL::text AS home_currency
      FROM cups c JOIN cup_type t ON t.id = c.cup_type
    UNION ALL
    SELECT m.home, m.host, 2, 'money', NULL, NULL, NULL, NULL, amount_text(m.agreed, o.decimals), o.currency,
           amount_text(m.not_settled, o.decimals), amount_text(m.settled, o.decimals), amount_text(m.to_follow, o.decimals),
           amount_text(m.under_way, o.decimals), amount_text(m.by_host, k.decimals), k.currency, amount_text(m.by_home, h.decimals),
           h.currency
      FROM money m
      JOIN scheme h ON h.id = m.home
      JOIN scheme k ON k.id = m.host
      JOIN scheme o ON o.id = CASE WHEN m.in_host_currency THEN m.host ELSE m.home END)
SELECT h.code, k.code, item, visiting, on_the_way, abroad, to_follow, agreed, line.currency, not_settled, settled, to_follow_amount,
       under_way, by_host, host_currency, by_home, home_currency
  FROM line JOIN scheme h ON h.id = line.home JOIN scheme k ON k.id = line.host
 ORDER BY h.code COLLATE "C", k.code COLLATE "C", part, item COLLATE "C"
