-- Check: each entry between schemes books the exact agreed amount, in the other currency at the kept rate, half to
-- even; a reversal takes back what its entry booked; of each pair the exact amounts of both books agree, with those
-- that the home has still to follow. $1 scheme, whose entries these are, and which is the home of the pairs.
WITH stated AS (
    SELECT a.scheme, a.entry, a.home, a.host, a.amount,
           CASE WHEN a.in_host_currency = (a.scheme = a.host) THEN a.amount
                ELSE round_half_even(a.amount * (a.rate_e12 / 1000000000000::numeric)
                                     * power(10::numeric, own.decimals - other.decimals)) END
           * CASE WHEN a.scheme = a.host THEN 1 ELSE -1 END AS booked
      FROM agreed_amount a
      JOIN scheme own ON own.id = a.scheme
      JOIN scheme other ON other.id = CASE WHEN a.scheme = a.host THEN a.home ELSE a.host END
     WHERE a.scheme = $1::integer),
posted AS (
    SELECT l.entry, account_home(l.account) AS home, account_host(l.account) AS host, sum(l.amount) AS booked
      FROM leg l JOIN entry e USING (scheme, entry)
     WHERE l.scheme = $1 AND account_kind_of(l.account) = :account_between_schemes
       AND e.kind IN (:kinds_counter, :kind_reversal, :kind_return_abroad, :kind_reversal_abroad)
     GROUP BY 1, 2, 3),
pair AS (SELECT home, host, entry AS place FROM following_place WHERE home = $1),
exact AS (
    SELECT p.home, p.host,
           (SELECT coalesce(sum(a.amount), 0) FROM agreed_amount a
             WHERE a.scheme = p.host AND a.home = p.home AND a.host = p.host) AS owed_to_host,
           (SELECT coalesce(sum(a.amount), 0) FROM agreed_amount a
             WHERE a.scheme = p.home AND a.home = p.home AND a.host = p.host) AS owed_by_home,
           (SELECT coalesce(sum(a.amount), 0) FROM agreed_amount a
             WHERE a.scheme = p.host AND a.home = p.home AND a.host = p.host AND a.entry > p.place) AS to_follow,
           (SELECT count(DISTINCT a.in_host_currency) FROM agreed_amount a
             WHERE a.scheme IN (p.home, p.host) AND a.home = p.home AND a.host = p.host) AS currencies
      FROM pair p),
examined AS (
    SELECT format('entry %s does not book what is agreed', coalesce(s.entry, p.entry)) AS what,
           coalesce(s.booked, 0) <> coalesce(p.booked, 0) AS is_broken
      FROM stated s FULL JOIN posted p USING (entry, home, host)
    UNION ALL
    SELECT format('%s owes %s %s by its own books and those to follow, but %s by the other''s', h.code, k.code,
                  owed_by_home + to_follow, owed_to_host), owed_by_home + to_follow <> owed_to_host
      FROM exact JOIN scheme h ON h.id = home JOIN scheme k ON k.id = host
    UNION ALL
    SELECT format('%s and %s have agreed in two currencies', h.code, k.code), currencies > 1
      FROM exact JOIN scheme h ON h.id = home JOIN scheme k ON k.id = host)
SELECT count(*), count(*) FILTER (WHERE is_broken),
       first_lines(array_agg(what ORDER BY what) FILTER (WHERE is_broken))
  FROM examined
