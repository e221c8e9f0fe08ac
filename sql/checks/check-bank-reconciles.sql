-- Check: each movement of the account `bank` has its one cause: a booked line of the bank, a payment that a person
-- confirmed or failed, or a journal or an opening; each line is taken once; and each statement's sums are those of its
-- lines. Faults of the bank's own statements are no faults of the books: the report bank-reconciliation shows them. $1
-- scheme.
WITH of_pool AS (
    SELECT payment_id, effect FROM bank_effect WHERE scheme = $1::integer),
confirmed AS (SELECT DISTINCT payment_id FROM payment_change WHERE scheme = $1::integer AND change = 'confirm'),
changed AS ( -- by hand, or by a line
    SELECT c.entry, c.payment_id, c.change = 'fail' AS is_return, CASE c.change WHEN 'confirm' THEN p.effect ELSE -p.effect END AS amount
      FROM payment_change c JOIN of_pool p USING (payment_id) JOIN confirmed USING (payment_id)
     WHERE c.scheme = $1::integer AND c.change IN ('confirm', 'fail')),
taken_back AS ( -- the part of a line that a person found to be a payment
    SELECT e.entry, r.payment_id, r.came_back AS is_return, CASE WHEN r.came_back THEN p.effect ELSE -p.effect END AS amount
      FROM bank_line_resolution r
      LEFT JOIN of_pool p USING (payment_id)
      LEFT JOIN entry e ON e.scheme = r.scheme AND e.entry = ANY (r.entries) AND e.kind = :kind_bank_line
     WHERE r.scheme = $1::integer AND r.payment_id IS NOT NULL),
cause AS (
    SELECT entry, amount, 'bank_line' AS word FROM bank_line
     WHERE scheme = $1::integer AND disposition IN ('unmatched', 'underpaid', 'overpaid', 'between_schemes')
    UNION ALL
    SELECT entry, amount, 'bank_line' FROM taken_back
    UNION ALL
    SELECT entry, amount, CASE WHEN is_return THEN 'payment_failed' ELSE 'payment_confirmed' END FROM changed),
moved AS (
    SELECT e.entry, k.word, sum(l.amount) AS amount
      FROM entry e JOIN entry_kind k ON k.kind = e.kind CROSS JOIN unnest(e.accounts, e.amounts) AS l(account, amount)
     WHERE e.scheme = $1::integer AND e.kind NOT IN (:kind_journal, :kind_opening, :kind_reversal)
       AND account_kind_of(l.account) = :account_bank GROUP BY 1, 2 HAVING sum(l.amount) <> 0),
of_lines AS (
    SELECT statement, sum(amount) FILTER (WHERE disposition <> 'ignored') AS booked,
           sum(amount) FILTER (WHERE disposition = 'repeated') AS repeated
      FROM bank_line WHERE scheme = $1::integer GROUP BY 1),
told AS (
    SELECT line::text AS name, payment_id, disposition = 'returned' AS is_return, amount, entry FROM bank_line
     WHERE scheme = $1::integer AND disposition IN ('matched', 'returned')),
examined AS (
    SELECT format('entry %s moves the account by %s, and its cause by %s', entry, coalesce(m.amount, 0), coalesce(c.amount, 0)) AS what,
           (m.amount = c.amount AND m.word = c.word) IS NOT TRUE AS is_broken
      FROM moved AS m
      FULL JOIN (SELECT entry, word, sum(amount) AS amount FROM cause GROUP BY 1, 2) AS c USING (entry)
    UNION ALL
    SELECT format('bank line %s is not what its payment moved', t.name),
           (t.amount = c.amount AND coalesce(t.entry, c.entry) = c.entry) IS NOT TRUE
      FROM told t LEFT JOIN changed c USING (payment_id, is_return)
    UNION ALL
    SELECT format('payment %s was taken for %s lines', payment_id, count(*)), count(*) > 1
      FROM (SELECT payment_id, is_return FROM told UNION ALL SELECT payment_id, is_return FROM taken_back) AS one
     GROUP BY payment_id, is_return
    UNION ALL
    SELECT format('statement %s does not sum its lines', s.statement),
           (s.booked, s.repeated) IS DISTINCT FROM (coalesce(l.booked, 0)::bigint, coalesce(l.repeated, 0)::bigint)
      FROM bank_statement s LEFT JOIN of_lines l USING (statement) WHERE s.scheme = $1::integer
    UNION ALL
    SELECT format('statement %s ties in the list and not in the chain, or the other way round', s.statement),
           (t.expected, t.opening_off, t.lines_off) IS DISTINCT FROM (c.expected, c.opening_off, c.lines_off)
      FROM bank_statement s CROSS JOIN LATERAL bank_statement_tie(s) AS t
      LEFT JOIN bank_chain($1::integer, 'infinity') AS c USING (statement)
     WHERE s.scheme = $1::integer)
SELECT count(*), count(*) FILTER (WHERE is_broken), first_lines(array_agg(what ORDER BY what) FILTER (WHERE is_broken)) FROM examined
