-- Check: two people agreed on each line of the bank's that was the operator's own money, and on each resolution of
-- an exception about it. Money that the operator took out beyond what was free just before is an exception with
-- that amount. The free amount is computed from the legs before, and from the cups at the values of that day. $1
-- scheme.
WITH own AS (
    SELECT r.line, r.entries[1] AS entry, r.api_key, p.proposed_by, d.decision, d.decided_by, l.amount, e.business_date
      FROM bank_line_resolution r
      JOIN bank_line l USING (scheme, line)
      LEFT JOIN entry e ON e.scheme = r.scheme AND e.entry = r.entries[1] AND e.kind = :kind_bank_line_resolved
      LEFT JOIN proposal p ON p.number = r.proposal AND p.what = 'bank_line'
      LEFT JOIN proposal_decision d ON d.proposal = p.number
     WHERE r.scheme = $1::integer AND r.account = 'operator_account'),
-- The balance of the bank lacks a line before the line is resolved. A journal takes its amount only with its entry.
taken AS (
    SELECT entry, amount, lacking, business_date, row_number() OVER (ORDER BY entry) AS nth
      FROM (SELECT entry, -amount AS amount, 0 AS lacking, business_date
              FROM own WHERE amount < 0 AND business_date IS NOT NULL
            UNION ALL
            SELECT e.entry, least(leg.own, -leg.bank), least(leg.own, -leg.bank),
                   (SELECT max(b.business_date) FROM business_day b
                     WHERE b.scheme = e.scheme AND b.starts_at <= j.decided_at)
              FROM proposed_event j
              JOIN entry e ON e.scheme = j.scheme AND e.entry = j.entry
             CROSS JOIN LATERAL (
                   SELECT sum(l.amount) FILTER (WHERE account_kind_of(l.account) = :account_operator_account) AS own,
                          sum(l.amount) FILTER (WHERE account_kind_of(l.account) = :account_bank) AS bank
                     FROM unnest(e.accounts, e.amounts) AS l(account, amount)) AS leg
             WHERE j.scheme = $1::integer AND j.kind = :kind_journal AND j.status = 'approved' AND leg.own > 0 AND leg.bank < 0) AS one),
-- Legs are added up once, between one such entry and the next.
marks AS (SELECT array_agg(entry ORDER BY entry) AS entries FROM taken HAVING count(*) > 0),
part AS MATERIALIZED (
    SELECT width_bucket(l.entry, marks.entries) + 1 AS nth, l.account, sum(l.amount) AS amount
      FROM marks JOIN leg l ON l.scheme = $1::integer GROUP BY 1, 2),
-- Each account before each such entry: a running sum, so that the cost grows with accounts times entries.
stands AS MATERIALIZED (
    SELECT t.nth, account_kind_of(k.account) AS kind, account_owner(k.account) AS owner, account_cup_type(k.account) AS cup_type,
           sum(coalesce(p.amount, 0)) OVER (PARTITION BY k.account ORDER BY t.nth) AS amount
      FROM (SELECT DISTINCT account FROM part) AS k
     CROSS JOIN taken t
      LEFT JOIN part p ON p.account = k.account AND p.nth = t.nth),
worth AS MATERIALIZED (
    SELECT t.nth, c.id AS cup_type, v.amount
      FROM taken t CROSS JOIN cup_type c
     CROSS JOIN LATERAL (SELECT r.amount FROM refund_value r
                          WHERE r.scheme = $1::integer AND r.cup_type = c.id AND r.effective_date <= t.business_date
                          ORDER BY r.effective_date DESC LIMIT 1) AS v),
on_deposit AS (SELECT stock_terms = 'on_deposit' AS is_so FROM scheme WHERE id = $1::integer),
deposit AS ( -- with customers; on deposit also at sites, and on the road
    SELECT nth, cup_type, place, sum(cups * amount) AS amount
      FROM (SELECT s.nth, s.cup_type, s.amount AS cups,
                   CASE s.kind WHEN :account_with_customers THEN 'out' WHEN :account_in_transit THEN 'road' ELSE 'site' END AS place
              FROM stands s, on_deposit
             WHERE s.kind = :account_with_customers
                OR is_so AND s.kind IN (:account_site_stock, :account_damaged, :account_in_transit)) AS held
      JOIN worth USING (nth, cup_type)
     GROUP BY 1, 2, 3),
due AS ( -- a site's dealings, and what it has still to place because values have changed
    SELECT nth, participant, kind, sum(amount) AS amount
      FROM (SELECT s.nth, t.participant, :account_site_clearing AS kind, s.amount
              FROM stands s JOIN site t ON t.id = s.owner WHERE s.kind IN (:account_site_clearing, :account_stock_deposits)
            UNION ALL
            SELECT s.nth, t.participant, :account_site_clearing, s.amount * w.amount
              FROM on_deposit, stands s JOIN site t ON t.id = s.owner JOIN worth w USING (nth, cup_type)
             WHERE is_so AND s.kind IN (:account_site_stock, :account_damaged)
            UNION ALL
            SELECT s.nth, s.owner, s.kind, s.amount FROM stands s
             WHERE s.kind IN (:account_settlement_due, :account_arrears, :account_between_schemes, :account_settlement_due_scheme)) AS dealing
     GROUP BY 1, 2, 3),
gone AS ( -- lines of which nobody had said what they were
    SELECT t.nth, sum(l.amount) AS amount
      FROM taken t
      JOIN bank_line l ON l.scheme = $1::integer AND l.amount < 0 AND l.entry < t.entry
                      AND l.disposition IN ('unmatched', 'underpaid', 'overpaid')
     WHERE NOT EXISTS (SELECT FROM bank_line_resolution r
                        WHERE r.scheme = l.scheme AND r.line = l.line AND r.entries[1] < t.entry)
     GROUP BY 1),
held AS (SELECT nth, sum(greatest(amount, 0)) AS amount FROM deposit GROUP BY nth),
owed AS (SELECT nth, sum(least(amount, 0)) AS amount FROM due GROUP BY nth),
other AS (
    SELECT nth, sum(amount) FILTER (WHERE kind = :account_bank) AS bank, sum(amount) FILTER (WHERE kind = :account_tax) AS tax,
           sum(amount) FILTER (WHERE kind = :account_bank_suspense) AS suspense
      FROM stands GROUP BY nth),
free AS (
    SELECT t.nth, t.entry, t.amount AS taken,
           -t.lacking + coalesce(other.bank, 0) - coalesce(held.amount, 0) + coalesce(owed.amount, 0) + least(coalesce(other.tax, 0), 0)
           + least(coalesce(other.suspense, 0) + coalesce(gone.amount, 0), 0) AS amount
      FROM taken t
      LEFT JOIN other USING (nth) LEFT JOIN held USING (nth) LEFT JOIN owed USING (nth) LEFT JOIN gone USING (nth)),
beyond AS (SELECT entry, least(taken, -amount) AS amount FROM free WHERE amount < 0),
noted AS (SELECT entry, amount FROM exception WHERE scheme = $1::integer AND kind = 'taken_out_beyond'),
examined AS (
    SELECT format('line %s is the operator''s own money by the word of one person', line) AS what,
           (decision = 'approved' AND decided_by = api_key AND proposed_by <> decided_by) IS NOT TRUE AS is_broken
      FROM own
    UNION ALL
    SELECT format('entry %s took out %s beyond what was free, and the exception says %s', entry, coalesce(b.amount, 0),
                  coalesce(n.amount, 0)), b.amount IS DISTINCT FROM n.amount
      FROM (SELECT t.entry, b.amount FROM taken t LEFT JOIN beyond b USING (entry)) AS b FULL JOIN noted n USING (entry)
    UNION ALL
    SELECT format('exception %s of entry %s was resolved by one person', z.position, z.entry),
           (d.decision = 'approved' AND d.decided_by = z.resolved_by AND p.proposed_by <> d.decided_by) IS NOT TRUE
      FROM exception x
      JOIN exception_resolution z USING (scheme, entry, position)
      LEFT JOIN proposal p ON p.number = z.proposal AND p.what = 'exception'
      LEFT JOIN proposal_decision d ON d.proposal = p.number
     WHERE x.scheme = $1::integer AND x.kind = 'taken_out_beyond')
SELECT count(*), count(*) FILTER (WHERE is_broken), first_lines(array_agg(what ORDER BY what) FILTER (WHERE is_broken))
  FROM examined
