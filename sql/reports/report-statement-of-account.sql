-- A participant's statement of account, as a document: its parties, the opening balance, each day and each payment with
-- the balance after it, the closing balance, the things that the closing balance is made of, and the days by site. $1
-- scheme, $2 first and $3 last business day, $4 participant (null: all), $5 the sites whose participants to show (null:
-- all). All amounts are the participant's: in its favour (+), or owed by it (-). The scheme's opening is as of the
-- start of its day. Settling, and a payment that fails before it is confirmed, move nothing here: they move amounts
-- between a participant's accounts. Fees and their tax are those that the entries of the closes have.
WITH of_scheme AS (SELECT id, operator ->> 'name' AS operator, decimals FROM scheme WHERE id = $1::integer),
shown AS MATERIALIZED (
    SELECT p.id, p.code, p.name FROM participant p
     WHERE ($4::integer IS NULL OR p.id = $4)
       AND EXISTS (SELECT FROM site s WHERE s.scheme = $1::integer AND s.participant = p.id)
       AND ($5::integer[] IS NULL OR p.id IN (SELECT participant FROM site WHERE id = ANY ($5)))),
shown_site AS MATERIALIZED (
    SELECT id, code, name, participant FROM site WHERE scheme = $1::integer AND participant IN (SELECT id FROM shown)),
day AS (
    SELECT min(business_date) AS first, max(business_date) AS last, min(first_entry) AS first_entry, max(last_entry) AS last_entry
      FROM business_day WHERE scheme = $1::integer AND business_date BETWEEN $2::date AND $3::date),
of_site AS MATERIALIZED (
    SELECT s.participant, t.*
      FROM site_statement($1::integer, ARRAY(SELECT id FROM shown_site), $2::date, $3::date) AS t
      JOIN shown_site s ON s.id = t.site),
account AS MATERIALIZED ( -- each account of the participant in each day
    SELECT account_owner(a.account) AS participant, account_kind_of(a.account) AS kind, a.business_date, a.opening, a.closing
      FROM account_days($1::integer,
                        ARRAY(SELECT account_of(kind, id, 0)
                                FROM shown, unnest(ARRAY[:account_settlement_due, :account_arrears]) AS kind),
                        $2::date, $3::date) AS a
    UNION ALL
    SELECT participant, :account_site_clearing, business_date, opening, closing FROM of_site),
moved AS MATERIALIZED ( -- legs of entries that are not of a site, on the accounts of participants
    SELECT e.entry, e.business_date, e.kind, account_owner(l.account) AS participant, -sum(l.amount) AS amount
      FROM day
      JOIN entry e ON e.scheme = $1::integer AND e.entry BETWEEN day.first_entry AND day.last_entry
                  AND e.business_date BETWEEN $2::date AND $3::date
     CROSS JOIN LATERAL unnest(e.accounts, e.amounts) AS l(account, amount)
     WHERE e.kind > :kind_exchange
       AND e.kind IN (:kind_payment_confirmed, :kind_payment_failed, :kind_bank_line_resolved, :kind_opening, :kind_journal, :kind_reversal)
       AND account_kind_of(l.account) IN (:account_settlement_due, :account_arrears)
       AND account_owner(l.account) IN (SELECT id FROM shown)
     GROUP BY e.entry, e.business_date, e.kind, account_owner(l.account)),
stated AS (SELECT participant, business_date, sum(amount) AS amount FROM moved WHERE kind = :kind_opening GROUP BY 1, 2),
begun AS (
    SELECT a.participant, -sum(a.opening) + coalesce((SELECT sum(amount) FROM stated s WHERE s.participant = a.participant), 0) AS amount
      FROM account a, day WHERE a.business_date = day.first GROUP BY a.participant),
at_site AS MATERIALIZED (
    SELECT t.participant, t.site, t.business_date, -t.collected AS collected, t.refunded,
           coalesce(m.standing_fee, 0) - coalesce(f.service_fee, 0) AS service_fee,
           coalesce(m.standing_tax, 0) - coalesce(f.service_tax, 0) AS service_tax,
           -coalesce(f.handling_fee, 0) AS handling_fee, -coalesce(f.handling_tax, 0) AS handling_tax,
           -coalesce(m.standing_fee, 0) AS standing_fee, -coalesce(m.standing_tax, 0) AS standing_tax, -t.stock AS stock,
           coalesce(f.service_fee + f.service_tax + f.handling_fee + f.handling_tax, 0) - t.other - t.fees - t.tax AS other
      FROM of_site t
      LEFT JOIN fee_days($1::integer, $2::date, $3::date) f ON f.site = t.site AND f.business_date = t.business_date
      LEFT JOIN LATERAL (SELECT * FROM fee_day d
                          WHERE d.scheme = $1::integer AND d.business_date = t.business_date AND d.site = t.site) m ON true),
activity AS (
    SELECT participant, site, business_date, collected, refunded, service_fee, service_tax, handling_fee, handling_tax,
           standing_fee, standing_tax, stock, other
      FROM at_site
    UNION ALL -- journals move arrears, and the reversal of an opening does
    SELECT participant, NULL, business_date, 0, 0, 0, 0, 0, 0, 0, 0, 0, amount FROM moved WHERE kind IN (:kind_journal, :kind_reversal)),
summed AS ( -- by day, by site, and over all
    SELECT participant, business_date, site, GROUPING(business_date, site) AS over,
           sum(collected) AS collected, sum(refunded) AS refunded, sum(service_fee) AS service_fee, sum(service_tax) AS service_tax,
           sum(handling_fee) AS handling_fee, sum(handling_tax) AS handling_tax, sum(standing_fee) AS standing_fee,
           sum(standing_tax) AS standing_tax, sum(stock) AS stock, sum(other) AS other,
           sum(collected + refunded + service_fee + service_tax + handling_fee + handling_tax + standing_fee + standing_tax + stock + other)
               AS amount
      FROM activity GROUP BY GROUPING SETS ((participant, business_date), (participant, site), (participant))),
paid AS MATERIALIZED (
    SELECT m.participant, m.business_date, m.entry, m.amount, c.payment_id,
           CASE m.kind WHEN :kind_payment_confirmed THEN 'confirmed' WHEN :kind_payment_failed THEN 'failed' ELSE 'bank_line' END AS what
      FROM moved m
      LEFT JOIN LATERAL (SELECT payment_id FROM payment_change c WHERE c.scheme = $1::integer AND c.entry = m.entry LIMIT 1) c ON true
     WHERE m.kind IN (:kind_payment_confirmed, :kind_payment_failed, :kind_bank_line_resolved)),
ended AS ( -- by kind of account, and in full
    SELECT a.participant, a.kind, -sum(a.closing) AS amount
      FROM account a, day WHERE a.business_date = day.last GROUP BY GROUPING SETS ((a.participant, a.kind), (a.participant))),
unpaid AS MATERIALIZED ( -- payments that were neither confirmed nor had failed at the end of the last day
    SELECT side.participant, p.payment_id, p.due_on, p.status, side.amount
      FROM payment p
     CROSS JOIN LATERAL (VALUES (p.payer, -p.amount), (p.payee, p.amount)) AS side(participant, amount)
     WHERE p.scheme = $1::integer AND p.business_date <= $3::date AND p.status NOT IN ('confirmed', 'failed')
       AND side.participant IN (SELECT id FROM shown)
    UNION ALL
    SELECT side.participant, p.payment_id, p.due_on, p.status, side.amount
      FROM (SELECT min(first_entry) AS entry FROM business_day WHERE scheme = $1::integer AND business_date > $3::date) AS later
      JOIN payment_change c ON c.scheme = $1::integer AND c.entry >= later.entry AND c.change IN ('confirm', 'fail')
      JOIN entry e ON e.scheme = c.scheme AND e.entry = c.entry AND e.business_date > $3::date
      JOIN payment p ON p.scheme = c.scheme AND p.payment_id = c.payment_id AND p.business_date <= $3::date
     CROSS JOIN LATERAL (VALUES (p.payer, -p.amount), (p.payee, p.amount)) AS side(participant, amount)
     WHERE side.participant IN (SELECT id FROM shown)
       AND NOT EXISTS (SELECT FROM payment_change b
                        WHERE b.scheme = c.scheme AND b.payment_id = c.payment_id AND b.change IN ('confirm', 'fail') AND b.position < c.position)),
due AS (
    SELECT participant, 'payment' AS what, payment_id, due_on, status, amount FROM unpaid
    UNION ALL
    SELECT participant, CASE kind WHEN :account_site_clearing THEN 'not_settled' ELSE 'next_settlement' END, NULL, NULL, NULL, amount
      FROM ended WHERE kind IN (:account_site_clearing, :account_arrears) AND amount <> 0
    UNION ALL -- the rest of what is settled and not paid: from bank lines that a person resolved to it
    SELECT e.participant, 'other', NULL, NULL, NULL, e.amount - coalesce(u.amount, 0)
      FROM ended e LEFT JOIN (SELECT participant, sum(amount) AS amount FROM unpaid GROUP BY 1) u USING (participant)
     WHERE e.kind = :account_settlement_due AND e.amount <> coalesce(u.amount, 0)),
line AS (
    SELECT 1 AS part, id AS participant, 'operator' AS section, NULL::date AS date, 0::bigint AS place, NULL::integer AS site,
           operator AS name, NULL AS what, NULL AS payment_id, NULL::date AS due_on, NULL AS status,
           NULL::numeric AS collected, NULL::numeric AS refunded, NULL::numeric AS service_fee, NULL::numeric AS service_tax,
           NULL::numeric AS handling_fee, NULL::numeric AS handling_tax, NULL::numeric AS standing_fee, NULL::numeric AS standing_tax,
           NULL::numeric AS stock, NULL::numeric AS other, NULL::numeric AS paid, NULL::numeric AS amount, NULL::numeric AS balance
      FROM (SELECT shown.id, operator FROM shown, of_scheme) AS party
    UNION ALL
    SELECT 2, id, 'participant', NULL, 0, NULL, name, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL,
           NULL, NULL, NULL, NULL, NULL
      FROM shown
    UNION ALL
    SELECT 3, participant, 'opening', first, 0, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL,
           NULL, NULL, NULL, NULL, amount
      FROM begun, day
    UNION ALL
    SELECT 4, participant, 'day', business_date, 0, NULL, NULL, NULL, NULL, NULL, NULL, collected, refunded, service_fee, service_tax,
           handling_fee, handling_tax, standing_fee, standing_tax, stock, other, NULL, amount, NULL
      FROM summed
     WHERE over = 1 AND (collected, refunded, service_fee, service_tax, handling_fee, handling_tax, standing_fee, standing_tax, stock, other)
                        <> (0, 0, 0, 0, 0, 0, 0, 0, 0, 0)
    UNION ALL
    SELECT 4, participant, 'payment', business_date, entry, NULL, NULL, what, payment_id, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL,
           NULL, NULL, NULL, amount, amount, NULL
      FROM paid
    UNION ALL
    SELECT 5, s.participant, 'closing', day.last, 0, NULL, NULL, NULL, NULL, NULL, NULL, collected, refunded, service_fee, service_tax,
           handling_fee, handling_tax, standing_fee, standing_tax, stock, other, coalesce(p.amount, 0), s.amount + coalesce(p.amount, 0),
           e.amount
      FROM day
     CROSS JOIN ended e
      JOIN (SELECT * FROM summed WHERE over = 3) s USING (participant)
      LEFT JOIN (SELECT participant, sum(amount) AS amount FROM paid GROUP BY 1) p USING (participant)
     WHERE e.kind IS NULL
    UNION ALL
    SELECT 6, participant, 'due', due_on, 0, NULL, NULL, what, payment_id, due_on, status, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL,
           NULL, NULL, amount, NULL
      FROM due
    UNION ALL
    SELECT 7, s.participant, 'site', NULL, 0, t.id, t.name, NULL, NULL, NULL, NULL, collected, refunded, service_fee, service_tax,
           handling_fee, handling_tax, standing_fee, standing_tax, stock, other, NULL, amount, NULL
      FROM summed s JOIN shown_site t ON t.id = s.site
     WHERE s.over = 2
    UNION ALL
    SELECT 8, participant, 'sites', NULL, 0, NULL, NULL, NULL, NULL, NULL, NULL, sum(collected), sum(refunded), sum(service_fee),
           sum(service_tax), sum(handling_fee), sum(handling_tax), sum(standing_fee), sum(standing_tax), sum(stock), sum(other), NULL,
           sum(amount), NULL
      FROM summed WHERE over = 2 AND site IS NOT NULL GROUP BY participant)
SELECT shown.code, line.section, CASE WHEN line.part <> 6 THEN line.date END, t.code, line.name, line.what, line.payment_id, line.due_on,
       line.status, amount_text(collected, decimals), amount_text(refunded, decimals), amount_text(service_fee, decimals),
       amount_text(service_tax, decimals), amount_text(handling_fee, decimals), amount_text(handling_tax, decimals),
       amount_text(standing_fee, decimals), amount_text(standing_tax, decimals), amount_text(stock, decimals),
       amount_text(other, decimals), amount_text(paid, decimals), amount_text(line.amount, decimals),
       amount_text(CASE line.part WHEN 4 THEN line.after ELSE line.balance END, decimals)
  FROM (SELECT l.*, sum(CASE l.part WHEN 3 THEN l.balance WHEN 4 THEN l.amount END)
                        OVER (PARTITION BY l.participant ORDER BY l.part, l.date, l.place, l.what) AS after
          FROM line l) AS line
  JOIN shown ON shown.id = line.participant
  LEFT JOIN shown_site t ON t.id = line.site
 CROSS JOIN of_scheme
 ORDER BY shown.code COLLATE "C", line.part, line.date, line.place, t.code COLLATE "C", line.what, line.payment_id COLLATE "C"
