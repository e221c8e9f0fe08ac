-- Check: of each pair, in the agreed currency, what the host is owed is what the home owes (not settled, and settled
-- and not paid), with the returns that the home has still to follow and the payments that its bank has booked and the
-- host's has not. In the books of a scheme with that currency, these sums are the balances. Of each payment under way
-- both banks tell what is kept of it, and the host's no more than it is. $1 scheme, as home. It costs by pairs and by
-- what is under way.
WITH pair AS (
    SELECT f.home, f.host, f.entry AS place, h.code AS home_code, k.code AS host_code,
           h.currency = k.currency OR NOT a.in_host_currency AS is_homes, h.currency = k.currency OR a.in_host_currency AS is_hosts
      FROM following_place f
      JOIN scheme h ON h.id = f.home
      JOIN scheme k ON k.id = f.host
     CROSS JOIN LATERAL (SELECT g.in_host_currency FROM agreement g WHERE g.home = f.home AND g.host = f.host LIMIT 1) AS a
     WHERE f.home = $1::integer),
sums AS (
    SELECT p.*, k.owed AS owed_to_host, h.owed AS not_settled, h.due AS settled,
           (SELECT coalesce(sum(a.amount), 0) FROM agreed_amount a
             WHERE a.scheme = p.host AND a.home = p.home AND a.host = p.host AND a.entry > p.place) AS to_follow,
           (SELECT coalesce(sum(t.by_home - t.by_host), 0) FROM between_transit t
             WHERE t.home = p.home AND t.host = p.host) AS under_way,
           balance_through(p.host, account_of(:account_between_schemes, p.home << 16 | p.host, 0), 'infinity') AS host_books,
           -balance_through(p.home, account_of(:account_between_schemes, p.home << 16 | p.host, 0), 'infinity') AS home_books,
           -balance_through(p.home, account_of(:account_settlement_due_scheme, p.host, 0), 'infinity') AS due_books
      FROM pair p
     CROSS JOIN LATERAL between_through(p.host, p.home, p.host, 'infinity') AS k
     CROSS JOIN LATERAL between_through(p.home, p.home, p.host, 'infinity') AS h),
under_way AS (
    SELECT t.*, o.agreed, o.status,
           (SELECT coalesce(sum(b.agreed), 0) FROM between_booked b
             WHERE b.payment_id = t.payment_id AND b.home = t.home AND b.scheme = t.host) AS told
      FROM pair p
      JOIN between_transit t ON t.home = p.home AND t.host = p.host
      LEFT JOIN pool_payment o ON o.scheme = t.home AND o.payment_id = t.payment_id AND o.host = t.host),
examined AS (
    SELECT format('%s is owed %s, but %s owes it %s, with what is still to follow and what is under way between their banks',
                  host_code, owed_to_host, home_code, not_settled + settled + to_follow + under_way) AS what,
           owed_to_host <> not_settled + settled + to_follow + under_way AS is_broken
      FROM sums
    UNION ALL
    SELECT format('%s is owed %s by %s, and has %s in its books', host_code, owed_to_host, home_code, host_books), owed_to_host <> host_books
      FROM sums WHERE is_hosts
    UNION ALL
    SELECT format('%s owes %s %s and has settled %s, but has %s and %s in its books', home_code, host_code, not_settled, settled, home_books,
                  due_books), (not_settled, settled) <> (home_books, due_books)
      FROM sums WHERE is_homes
    UNION ALL
    SELECT format('lines of the bank of %s are more than payment %s of %s', p.host_code, t.payment_id, p.home_code),
           (t.told BETWEEN 0 AND t.agreed) IS NOT TRUE
      FROM under_way t JOIN pair p USING (home, host)
    UNION ALL
    SELECT format('payment %s of %s to %s is not under way as both banks tell it', t.payment_id, p.home_code, p.host_code),
           (t.by_home - t.by_host = CASE t.status WHEN 'confirmed' THEN t.agreed ELSE 0 END - t.told) IS NOT TRUE
      FROM under_way t JOIN pair p USING (home, host))
SELECT count(*), count(*) FILTER (WHERE is_broken),
       first_lines(array_agg(what ORDER BY what) FILTER (WHERE is_broken))
  FROM examined
