-- Check: of each pair of schemes and each cup type, the cups that visit the host are the cups that are abroad for
-- their home, with those of the host's entries that the home has still to follow, less those on the way home; and the
-- dispatches of the host say how many left, and how many have come or are lost. $1 scheme, as home.
WITH pair AS (SELECT home, host, entry AS place FROM following_place WHERE home = $1::integer),
visiting AS (
    SELECT p.home, p.host, account_cup_type(b.account) AS cup_type, -b.amount AS cups
      FROM pair p CROSS JOIN LATERAL balances_through(p.host, 'infinity') AS b
     WHERE account_kind_of(b.account) = :account_visiting AND account_owner(b.account) = p.home),
abroad AS (
    SELECT p.home, p.host, account_cup_type(b.account) AS cup_type, b.amount AS cups
      FROM pair p CROSS JOIN LATERAL balances_through(p.home, 'infinity') AS b
     WHERE account_kind_of(b.account) = :account_abroad AND account_owner(b.account) = p.host),
to_follow AS (
    SELECT p.home, p.host, account_cup_type(l.account) AS cup_type, -sum(l.amount) AS cups
      FROM pair p
      JOIN agreed_amount a ON a.scheme = p.host AND a.home = p.home AND a.host = p.host AND a.entry > p.place
      JOIN leg l ON l.scheme = a.scheme AND l.entry = a.entry
     WHERE account_kind_of(l.account) = :account_visiting AND account_owner(l.account) = p.home
     GROUP BY 1, 2, 3),
-- Cups that the host has sent home, and those of them that have come to the home or are lost.
sent AS (
    SELECT p.home, p.host, account_cup_type(l.account) AS cup_type, sum(l.amount) AS cups
      FROM pair p
      JOIN leg l ON l.scheme = p.host AND account_kind_of(l.account) = :account_visiting AND account_owner(l.account) = p.home
     WHERE NOT EXISTS (SELECT FROM agreed_amount a
                        WHERE (a.scheme, a.entry, a.home, a.host) = (p.host, l.entry, p.home, p.host))
     GROUP BY 1, 2, 3),
come AS (
    SELECT p.home, p.host, account_cup_type(l.account) AS cup_type, -sum(l.amount) AS cups
      FROM pair p
      JOIN leg l ON l.scheme = p.home AND account_kind_of(l.account) = :account_abroad AND account_owner(l.account) = p.host
     WHERE NOT EXISTS (SELECT FROM followed_entry f WHERE f.scheme = p.home AND f.entry = l.entry)
     GROUP BY 1, 2, 3),
dispatched AS (
    SELECT p.home, p.host, t.cup_type, sum(t.sent) AS sent, sum(t.received + t.lost) AS come
      FROM pair p JOIN transfer t ON t.home = p.home AND t.scheme = p.host
     GROUP BY 1, 2, 3),
compared AS (
    SELECT home, host, cup_type, coalesce(v.cups, 0) AS visiting,
           (coalesce(s.cups, 0), coalesce(c.cups, 0)) <> (coalesce(d.sent, 0), coalesce(d.come, 0)) AS is_other,
           coalesce(a.cups, 0) + coalesce(f.cups, 0) - coalesce(s.cups, 0) + coalesce(c.cups, 0) AS expected
      FROM visiting v
      FULL JOIN abroad a USING (home, host, cup_type)
      FULL JOIN to_follow f USING (home, host, cup_type)
      FULL JOIN sent s USING (home, host, cup_type)
      FULL JOIN come c USING (home, host, cup_type)
      FULL JOIN dispatched d USING (home, host, cup_type))
SELECT count(*), count(*) FILTER (WHERE visiting <> expected OR is_other),
       first_lines(array_agg(format('%s of %s: %s visit %s, and %s are abroad or on the way', t.code, h.code, visiting, k.code, expected)
                             || CASE WHEN is_other THEN '; its dispatches home say otherwise' ELSE '' END
                             ORDER BY h.code, k.code, t.code) FILTER (WHERE visiting <> expected OR is_other))
  FROM compared
  LEFT JOIN scheme h ON h.id = home LEFT JOIN scheme k ON k.id = host LEFT JOIN cup_type t ON t.id = cup_type
