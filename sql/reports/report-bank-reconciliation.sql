-- From the bank's balance to the ledger's account `bank`, in rows that sum. $1 scheme, $2 business day at whose end, $3
-- 1: only what does not tie, 2: only what is in transit (null: all).
--
-- Statements count through their last day, by the bank's calendar; entries count through their business day. So a
-- statement of the 12th that was read on the 13th is at the bank on the 12th, and in the ledger a day later: its lines
-- are in transit. The entries of the office post to the day that contains their instant, which bounds what to look at.
WITH of_scheme AS (SELECT id, code, decimals FROM scheme WHERE id = $1::integer),
chain AS MATERIALIZED (
    SELECT c.*, t.statement_id, t.last_day, t.first_day, t.closing, row_number() OVER (PARTITION BY c.account ORDER BY c.place DESC) AS from_last
      FROM bank_chain($1::integer, $2::date) AS c
      JOIN bank_statement t ON t.scheme = $1::integer AND t.statement = c.statement),
-- The account at the bank before the first statement, and after the last one.
began AS (SELECT account, statement, first_day, begins AS amount FROM chain WHERE place = 1),
ended AS (
    SELECT l.account, l.statement, l.last_day, l.closing IS NOT NULL AS is_stated,
           coalesce(l.closing, coalesce(l.begins, 0) + t.moved) AS amount
      FROM chain l
      JOIN (SELECT account, sum(fresh + coalesce(opening_off, 0) + coalesce(lines_off, 0)) AS moved FROM chain GROUP BY 1) AS t
           USING (account)
     WHERE l.from_last = 1),
-- Payments by hand from before the first statement are kept as one figure. On days before it, and without a statement,
-- there is nothing to compare them with: all of them are what the ledger has.
before AS (
    SELECT (SELECT amount FROM bank_before WHERE scheme = $1::integer AND first_day <= $2::date AND EXISTS (SELECT FROM chain)) AS amount),
-- Entries from this one on, and things done from this instant on, are of later days.
later AS (
    SELECT coalesce(min(first_entry), 9223372036854775807) AS entry, coalesce(min(starts_at), 'infinity') AS at
      FROM business_day WHERE scheme = $1::integer AND business_date > $2::date),
later_statement AS MATERIALIZED (SELECT statement FROM bank_statement WHERE scheme = $1::integer AND last_day > $2::date),
-- Payments of the pool that are not alike on both sides, now or perhaps at the end of that day.
unlike AS (
    SELECT payment_id FROM bank_transit
     WHERE $3::integer IS DISTINCT FROM 1 AND scheme = $1::integer AND NOT is_before AND EXISTS (SELECT FROM chain)
    UNION
    SELECT c.payment_id FROM later JOIN payment_change c ON c.entry >= later.entry
     WHERE $3::integer IS DISTINCT FROM 1 AND c.scheme = $1::integer
    UNION
    SELECT l.payment_id FROM later_statement s JOIN bank_line l ON l.scheme = $1::integer AND l.statement = s.statement
     WHERE $3::integer IS DISTINCT FROM 1 AND l.disposition IN ('matched', 'returned')
    UNION
    SELECT r.payment_id FROM later JOIN bank_line_resolution r ON r.resolved_at >= later.at
     WHERE $3::integer IS DISTINCT FROM 1 AND r.scheme = $1::integer AND r.payment_id IS NOT NULL),
compared AS (
    SELECT x.payment_id, x.effect, side.*
      FROM unlike u
      JOIN bank_effect x ON x.scheme = $1::integer AND x.payment_id = u.payment_id
     CROSS JOIN LATERAL (
           SELECT coalesce(sum(d.moved) FILTER (WHERE e.business_date <= $2::date OR s.last_day <= $2::date), 0) AS moved,
                  coalesce(sum(d.moved) FILTER (WHERE e.business_date <= $2::date AND (d.side = 'change') = (d.moved > 0)
                                                   OR s.last_day <= $2::date AND d.moved < 0), 0) AS unpaid,
                  max(e.business_date) FILTER (WHERE d.side = 'change' AND e.business_date <= $2::date) AS moved_on,
                  max(d.entry) FILTER (WHERE d.side = 'change' AND e.business_date <= $2::date) AS entry, max(d.statement) AS statement,
                  bool_or(s.last_day > $2::date) AS is_early
             FROM bank_side d
             LEFT JOIN entry e ON e.scheme = d.scheme AND e.entry = d.entry
             LEFT JOIN bank_statement s ON s.scheme = d.scheme AND s.statement = d.statement
            WHERE d.scheme = $1::integer AND d.payment_id = u.payment_id) AS side),
payment_off AS (
    SELECT c.payment_id, coalesce(f.code, t.code) AS participant, c.entry, c.statement, coalesce(c.moved_on, s.last_day) AS moved_on,
           c.moved * c.effect AS off,
           CASE WHEN c.is_early THEN 'posted_before' WHEN c.unpaid > 0 THEN 'confirmed_by_hand' WHEN c.moved - c.unpaid < 0 THEN 'failed_by_hand' ELSE 'posted_later' END AS item
      FROM compared c
      LEFT JOIN LATERAL (SELECT * FROM payment q WHERE q.scheme = $1::integer AND q.payment_id = c.payment_id OFFSET 0) AS p
             ON true -- none: it is to another pool
      LEFT JOIN participant f ON f.id = p.payer
      LEFT JOIN participant t ON t.id = p.payee
      LEFT JOIN bank_statement s ON s.scheme = $1::integer AND s.statement = c.statement
     WHERE c.moved <> 0),
-- Other lines post to bank_suspense when they are read.
line_asked AS (
    SELECT l.line FROM later JOIN bank_line l ON l.entry >= later.entry
     WHERE $3::integer IS DISTINCT FROM 1 AND l.scheme = $1::integer
    UNION
    SELECT l.line FROM later_statement s JOIN bank_line l ON l.scheme = $1::integer AND l.statement = s.statement
     WHERE $3::integer IS DISTINCT FROM 1),
line_off AS (
    SELECT l.line, l.statement, e.entry, e.business_date, p.code AS participant,
           CASE WHEN s.last_day > $2::date THEN l.amount ELSE -l.amount END AS off,
           CASE WHEN s.last_day > $2::date THEN 'posted_before' ELSE 'posted_later' END AS item
      FROM line_asked a
      JOIN bank_line l ON l.scheme = $1::integer AND l.line = a.line
      JOIN bank_statement s ON s.scheme = $1::integer AND s.statement = l.statement
      JOIN entry e ON e.scheme = $1::integer AND e.entry = l.entry
      LEFT JOIN bank_line_resolution r ON r.scheme = l.scheme AND r.line = l.line
      LEFT JOIN participant p ON p.id = r.participant
     WHERE l.disposition IN ('unmatched', 'underpaid', 'overpaid', 'between_schemes') AND (e.business_date <= $2::date) = (s.last_day > $2::date)),
-- Journals and openings say what there was at the bank before it was read.
said AS (
    SELECT e.entry, e.business_date, k.word, sum(l.amount) AS amount
      FROM proposed_event j
      JOIN entry e ON e.scheme = j.scheme AND e.entry = j.entry
      JOIN entry_kind k ON k.kind = e.kind
     CROSS JOIN unnest(e.accounts, e.amounts) AS l(account, amount)
     WHERE $3::integer IS NULL AND j.scheme = $1::integer AND j.status = 'approved' AND e.business_date <= $2::date
       AND account_of(:account_bank, 0, 0) = ANY (j.accounts) AND account_kind_of(l.account) = :account_bank
     GROUP BY 1, 2, 3),
item AS (
    SELECT 1 AS part, 'statement' AS section, CASE WHEN is_stated THEN 'closing' ELSE 'closing_not_stated' END AS item,
           account AS bank_account, statement, last_day AS date, NULL::bigint AS line, NULL AS payment_id, NULL AS participant,
           NULL::bigint AS entry, NULL AS account, amount
      FROM ended
    UNION ALL
    SELECT 1, 'statement', 'none_read', NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, 0 WHERE NOT EXISTS (SELECT FROM ended)
    UNION ALL
    SELECT 2, 'before', CASE WHEN amount IS NULL THEN 'opening_not_stated' ELSE 'opening' END, account, statement, first_day,
           NULL, NULL, NULL, NULL, NULL, -coalesce(amount, 0)
      FROM began
    UNION ALL
    SELECT 3, 'before', CASE word WHEN 'opening' THEN 'opening_event' ELSE word END, NULL, NULL, business_date, NULL, NULL, NULL, entry, NULL, amount FROM said
    UNION ALL
    SELECT 4, 'before', 'payments_by_hand', NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, amount FROM before WHERE amount <> 0
    UNION ALL
    SELECT 5, CASE WHEN told_again THEN 'told_again' ELSE 'break' END, which.word, account, statement, last_day, NULL, NULL, NULL, NULL, NULL, -which.amount
      FROM chain CROSS JOIN LATERAL (VALUES ('opening_differs', opening_off), ('lines_do_not_sum', lines_off)) AS which(word, amount)
     WHERE which.amount <> 0
    UNION ALL
    SELECT 6, 'in_transit', item, NULL, statement, moved_on, NULL, payment_id, participant, entry, NULL, off
      FROM payment_off
    UNION ALL
    SELECT 6, 'in_transit', item, NULL, statement, business_date, line, NULL, participant, entry, NULL, off FROM line_off),
held AS (SELECT coalesce(sum(amount), 0) AS amount FROM balances_between($1::integer, account_of(:account_bank, 0, 0), account_of(:account_bank, 0, 0), $2::date)),
listed AS (
    SELECT * FROM item
     WHERE CASE $3::integer WHEN 1 THEN section = 'break' WHEN 2 THEN section = 'in_transit' ELSE true END
    UNION ALL
    SELECT CASE WHEN before.amount IS NULL THEN 4 ELSE 7 END, CASE WHEN before.amount IS NULL THEN 'before' ELSE 'not_explained' END,
           CASE WHEN before.amount IS NULL THEN 'payments_by_hand' ELSE 'difference' END,
           NULL, NULL, $2::date, NULL, NULL, NULL, NULL, 'bank', held.amount - total.amount
      FROM before, held, (SELECT sum(amount) AS amount FROM item) AS total WHERE $3::integer IS NULL AND held.amount <> total.amount
    UNION ALL
    SELECT 8, 'ledger', 'bank', NULL, NULL, $2::date, NULL, NULL, NULL, NULL, 'bank', amount FROM held WHERE $3::integer IS NULL)
SELECT section, item, bank_account, code || '.' || statement, date, code || '.' || line, payment_id, participant, entry, account,
       amount_text(amount, decimals)
  FROM listed, of_scheme
 ORDER BY part, bank_account COLLATE "C", date, statement, item, payment_id COLLATE "C", line, entry
