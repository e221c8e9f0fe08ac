-- Check: each entry between schemes books the exact agreed amount, in the other currency at the kept rate, half to
-- even; a reversal takes back what its entry booked; each line of the bank that paid a debt between schemes is kept as
-- it was booked; and the sums of days and the payments under way are those of their rows. $1 scheme.
WITH stated AS (
    SELECT a.scheme, a.entry, a.home, a.host,
           agreed_in_books(a.scheme, a.home, a.host, a.amount, a.in_host_currency, a.rate_e12)
           * CASE WHEN a.scheme = a.host THEN 1 ELSE -1 END AS booked
      FROM agreed_amount a
     WHERE a.scheme = $1::integer),
posted AS (
    SELECT l.entry, account_home(l.account) AS home, account_host(l.account) AS host, sum(l.amount) AS booked
      FROM leg l JOIN entry e USING (scheme, entry)
     WHERE l.scheme = $1 AND account_kind_of(l.account) = :account_between_schemes
       AND e.kind IN (:kinds_counter, :kind_reversal, :kind_return_abroad, :kind_reversal_abroad)
     GROUP BY 1, 2, 3),
line_posted AS (
    SELECT l.entry, account_home(l.account) AS home, e.business_date, -sum(l.amount) AS booked
      FROM leg l JOIN entry e USING (scheme, entry)
     WHERE l.scheme = $1 AND account_kind_of(l.account) = :account_between_schemes
       AND e.kind IN (:kind_bank_line, :kind_bank_line_resolved)
     GROUP BY 1, 2, 3),
line_kept AS (
    SELECT b.line, b.home, b.business_date, b.booked, coalesce(r.entries[1], l.entry) AS entry
      FROM between_booked b
      LEFT JOIN bank_line l ON l.scheme = b.scheme AND l.line = b.line
      LEFT JOIN bank_line_resolution r ON r.scheme = b.scheme AND r.line = b.line
     WHERE b.scheme = $1),
kept AS (SELECT * FROM between_day WHERE scheme = $1),
anew AS (
    SELECT m.*, sum(owed) OVER past AS owed_through, sum(due) OVER past AS due_through, sum(by_host) OVER past AS by_host_through
      FROM (SELECT home, host, business_date, sum(owed) AS owed, sum(due) AS due, sum(by_host) AS by_host
              FROM between_movements($1) GROUP BY 1, 2, 3) AS m
    WINDOW past AS (PARTITION BY home, host ORDER BY business_date)),
under_way AS (
    SELECT p.payment_id, p.by_home - p.by_host AS amount
      FROM (SELECT p.payment_id,
                   (SELECT coalesce(sum(m.by_home_bank), 0) FROM payment_change c CROSS JOIN LATERAL between_change(p, c.change) AS m
                     WHERE c.scheme = p.scheme AND c.payment_id = p.payment_id AND c.change IN ('confirm', 'fail')) AS by_home,
                   (SELECT coalesce(sum(b.agreed), 0) FROM between_booked b WHERE b.payment_id = p.payment_id AND b.home = p.scheme) AS by_host
              FROM pool_payment p WHERE p.scheme = $1) AS p
     WHERE p.by_home <> p.by_host),
examined AS (
    SELECT format('entry %s does not book what is agreed', coalesce(s.entry, p.entry)) AS what,
           coalesce(s.booked, 0) <> coalesce(p.booked, 0) AS is_broken
      FROM stated s FULL JOIN posted p USING (entry, home, host)
    UNION ALL
    SELECT format('entry %s of a bank line is not kept as it was booked', coalesce(k.entry, p.entry)),
           (k.booked = p.booked AND k.business_date = p.business_date) IS NOT TRUE
      FROM line_kept k FULL JOIN line_posted p USING (entry, home)
    UNION ALL
    SELECT format('a payment to %s is not what it was agreed in', k.code), p.in_host_currency <> g.in_host_currency
      FROM pool_payment p JOIN scheme k ON k.id = p.host
     CROSS JOIN LATERAL (SELECT a.in_host_currency FROM agreement a WHERE a.home = p.scheme AND a.host = p.host LIMIT 1) AS g
     WHERE p.scheme = $1
    UNION ALL
    SELECT format('%s and %s have agreed in two currencies', h.code, k.code), count(DISTINCT a.in_host_currency) > 1
      FROM agreed_amount a JOIN scheme h ON h.id = a.home JOIN scheme k ON k.id = a.host
     WHERE a.scheme = $1 GROUP BY h.code, k.code
    UNION ALL
    SELECT format('the sums of %s with %s and %s are not those of its rows', coalesce(k.business_date, a.business_date), h.code, o.code),
           (k.owed = a.owed AND k.due = a.due AND k.by_host = a.by_host) IS NOT TRUE
           OR CASE WHEN d.state = 'closed'
                   THEN (k.owed_closing = a.owed_through AND k.due_closing = a.due_through AND k.by_host_closing = a.by_host_through) IS NOT TRUE
                   ELSE coalesce(k.owed_closing, k.due_closing, k.by_host_closing) IS NOT NULL END
      FROM kept k FULL JOIN anew a USING (home, host, business_date)
      LEFT JOIN business_day d ON d.scheme = $1 AND d.business_date = coalesce(k.business_date, a.business_date)
      LEFT JOIN scheme h ON h.id = home LEFT JOIN scheme o ON o.id = host
    UNION ALL
    SELECT format('payment %s is not under way as its rows say', payment_id), (t.by_home - t.by_host = u.amount) IS NOT TRUE
      FROM (SELECT * FROM between_transit WHERE home = $1) AS t FULL JOIN under_way u USING (payment_id))
SELECT count(*), count(*) FILTER (WHERE is_broken),
       first_lines(array_agg(what ORDER BY what) FILTER (WHERE is_broken))
  FROM examined
