-- The amounts that participants owed (+) or were owed (-) in each day: a line for each of their sites with
-- anything to tell, for amounts settled and not yet paid, and for payments that failed. $1 scheme, $2 first
-- and $3 last business day, $4 participant (null: all), $5 the sites whose participants to show (null: all).
-- Settled and failed move between a participant's lines and add up to zero over them. All other movements of
-- settlement_due or arrears are payments, or bank lines that a person resolved; journals may move arrears.
WITH shown AS MATERIALIZED (
    SELECT p.id, p.code FROM participant p
     WHERE ($4::integer IS NULL OR p.id = $4)
       AND EXISTS (SELECT FROM site s WHERE s.scheme = $1::integer AND s.participant = p.id)
       AND ($5::integer[] IS NULL OR p.id IN (SELECT participant FROM site WHERE id = ANY ($5)))),
at_site AS MATERIALIZED (
    SELECT s.participant, s.code, t.*
      FROM site_statement($1::integer, ARRAY(SELECT id FROM site WHERE scheme = $1::integer
                                                AND participant IN (SELECT id FROM shown)), $2::date, $3::date) AS t
      JOIN site s ON s.id = t.site),
failed AS ( -- the amount that a failure put on the participant's arrears, by its posting day
    SELECT e.business_date, side.participant, sum(side.amount) AS amount
      FROM payment_change c
      JOIN entry e ON e.scheme = c.scheme AND e.entry = c.entry AND e.business_date BETWEEN $2::date AND $3::date
      JOIN payment p ON p.scheme = c.scheme AND p.payment_id = c.payment_id
     CROSS JOIN LATERAL (VALUES (p.payer, p.amount), (p.payee, -p.amount)) AS side(participant, amount)
     WHERE c.scheme = $1::integer AND c.change = 'fail' AND side.participant IS NOT NULL
       AND c.entry BETWEEN (SELECT min(first_entry) FROM business_day WHERE scheme = $1::integer AND business_date >= $2)
                       AND (SELECT max(last_entry) FROM business_day WHERE scheme = $1::integer AND business_date <= $3)
     GROUP BY 1, 2),
journaled AS ( -- the amount that journals put on arrears, or the reversal of an opening
    SELECT e.business_date, account_owner(l.account) AS participant, sum(l.amount) AS amount
      FROM proposed_event j
      JOIN entry e ON e.scheme = j.scheme AND e.entry = j.entry AND e.business_date BETWEEN $2::date AND $3::date
     CROSS JOIN LATERAL unnest(e.accounts, e.amounts) AS l(account, amount)
     WHERE j.scheme = $1::integer AND j.status = 'approved' AND j.kind <> :kind_opening AND account_kind_of(l.account) = :account_arrears
       AND j.entry BETWEEN (SELECT min(first_entry) FROM business_day WHERE scheme = $1::integer AND business_date >= $2)
                       AND (SELECT max(last_entry) FROM business_day WHERE scheme = $1::integer AND business_date <= $3)
     GROUP BY 1, 2),
cleared AS ( -- the amount that a close took out of arrears
    SELECT business_date, participant, arrears AS amount FROM position
     WHERE scheme = $1::integer AND business_date BETWEEN $2::date AND $3::date AND NOT carried),
stated AS ( -- amounts due by the scheme's opening, as of the start of its first day
    SELECT e.business_date, account_owner(l.account) AS participant, sum(l.amount) AS amount
      FROM proposed_event p
      JOIN entry e ON e.scheme = p.scheme AND e.entry = p.entry AND e.business_date BETWEEN $2::date AND $3::date
     CROSS JOIN LATERAL unnest(e.accounts, e.amounts) AS l(account, amount)
     WHERE p.scheme = $1::integer AND p.kind = :kind_opening AND p.status = 'approved' AND account_kind_of(l.account) = :account_arrears
     GROUP BY 1, 2),
settled AS (
    SELECT business_date, participant, -sum(settled) AS amount FROM at_site GROUP BY 1, 2),
owed AS (
    SELECT a.business_date, account_owner(a.account) AS participant, account_kind_of(a.account) AS kind,
           a.opening + coalesce(o.amount, 0) AS opening, a.movement - coalesce(o.amount, 0) AS movement, a.closing,
           CASE account_kind_of(a.account) WHEN :account_settlement_due THEN coalesce(s.amount, 0) + coalesce(c.amount, 0)
                ELSE -coalesce(c.amount, 0) END AS settled,
           CASE account_kind_of(a.account) WHEN :account_settlement_due THEN -coalesce(f.amount, 0)
                ELSE coalesce(f.amount, 0) END AS failed,
           CASE account_kind_of(a.account) WHEN :account_arrears THEN coalesce(j.amount, 0) ELSE 0 END AS other
      FROM account_days($1::integer,
                        ARRAY(SELECT account_of(kind, id, 0)
                                FROM shown, unnest(ARRAY[:account_settlement_due, :account_arrears]) AS kind),
                        $2::date, $3::date) AS a
      LEFT JOIN settled s ON s.business_date = a.business_date AND s.participant = account_owner(a.account)
      LEFT JOIN cleared c ON c.business_date = a.business_date AND c.participant = account_owner(a.account)
      LEFT JOIN failed f ON f.business_date = a.business_date AND f.participant = account_owner(a.account)
      LEFT JOIN journaled j ON j.business_date = a.business_date AND j.participant = account_owner(a.account)
      LEFT JOIN stated o ON o.business_date = a.business_date AND o.participant = account_owner(a.account)
                        AND account_kind_of(a.account) = :account_arrears),
line AS (
    SELECT business_date, participant, :account_site_clearing AS kind, code AS site, opening,
           collected, refunded, fees, tax, stock, other, settled, 0::bigint AS paid, 0::bigint AS failed, closing,
           at_site.site AS id
      FROM at_site
     WHERE (opening, collected, refunded, fees, tax, stock, other, settled, closing) <> (0, 0, 0, 0, 0, 0, 0, 0, 0)
    UNION ALL
    SELECT business_date, participant, kind, NULL, opening, 0, 0, 0, 0, 0, other, settled, movement - settled - failed - other,
           failed, closing, NULL
      FROM owed WHERE kind = :account_settlement_due OR (opening, movement, settled, failed, other) <> (0, 0, 0, 0, 0))
SELECT line.business_date, shown.code, k.word || format('(%s)', coalesce(line.site, shown.code)), line.site, amount_text(opening, decimals),
       amount_text(collected, decimals), amount_text(refunded, decimals), amount_text(fees, decimals), amount_text(tax, decimals),
       amount_text(stock, decimals), amount_text(other, decimals), amount_text(settled, decimals), amount_text(paid, decimals),
       amount_text(failed, decimals), amount_text(closing, decimals), closed.business_date,
       amount_text(f.service_fee, decimals), amount_text(f.service_tax, decimals), amount_text(f.handling_fee, decimals),
       amount_text(f.handling_tax, decimals), amount_text(f.standing_fee, decimals), amount_text(f.standing_tax, decimals)
  FROM line
  JOIN shown ON shown.id = line.participant
  JOIN account_kind k USING (kind)
  LEFT JOIN settlement closed ON closed.scheme = $1::integer AND closed.business_date = line.business_date
  LEFT JOIN LATERAL (SELECT * FROM fee_day d
                      WHERE d.scheme = $1::integer AND d.business_date = line.business_date AND d.site = line.id) f ON true
 CROSS JOIN scheme
 WHERE scheme.id = $1::integer
 ORDER BY shown.code COLLATE "C", line.business_date, kind, line.site COLLATE "C"
