-- The days of a participant's dealings with the pool, as the participant itself would book them: a line for each thing,
-- against one line of its account with the pool, whose sides are the other way round from the pool's books. $1 scheme,
-- $2 first and $3 last business day, $4 participant (null: all), $5 totals 1: shown (null: the same), 2: left out, $6
-- the sites whose participants to show (null: all). The figures are those of the settlement and of the participant's
-- statement. Fees and tax are gross: two supplies in two directions.
WITH shown AS MATERIALIZED (
    SELECT p.id, p.code FROM participant p
     WHERE ($4::integer IS NULL OR p.id = $4)
       AND EXISTS (SELECT FROM site s WHERE s.scheme = $1::integer AND s.participant = p.id)
       AND ($6::integer[] IS NULL OR p.id IN (SELECT participant FROM site WHERE id = ANY ($6)))),
shown_site AS MATERIALIZED (
    SELECT id, participant FROM site WHERE scheme = $1::integer AND participant IN (SELECT id FROM shown)),
part AS ( -- of what is owed
    SELECT t.business_date, s.participant, t.opening, t.collected, t.refunded, t.fees, t.tax, t.stock, t.other, t.settled AS paid, t.closing,
           0::bigint AS service_fee, 0::bigint AS service_tax, 0::bigint AS handling_fee, 0::bigint AS handling_tax
      FROM site_statement($1::integer, ARRAY(SELECT id FROM shown_site), $2::date, $3::date) AS t
      JOIN shown_site s ON s.id = t.site
    UNION ALL -- settling moves an amount from one account to another, and is no payment; the rest is
    SELECT a.business_date, account_owner(a.account), a.opening, 0, 0, 0, 0, 0, 0, a.movement, a.closing, 0, 0, 0, 0
      FROM account_days($1::integer,
                        ARRAY(SELECT account_of(kind, id, 0)
                                FROM shown, unnest(ARRAY[:account_settlement_due, :account_arrears]) AS kind),
                        $2::date, $3::date) AS a
    UNION ALL -- nor are journals that move arrears; nor is the scheme's opening, which is as of the start of its day
    SELECT e.business_date, account_owner(l.account), CASE j.kind WHEN :kind_opening THEN l.amount ELSE 0 END, 0, 0, 0, 0, 0,
           CASE j.kind WHEN :kind_opening THEN 0 ELSE l.amount END, -l.amount, 0, 0, 0, 0, 0
      FROM proposed_event j
      JOIN entry e ON e.scheme = j.scheme AND e.entry = j.entry AND e.business_date BETWEEN $2::date AND $3::date
     CROSS JOIN LATERAL unnest(e.accounts, e.amounts) AS l(account, amount)
     WHERE j.scheme = $1::integer AND j.status = 'approved' AND account_kind_of(l.account) = :account_arrears
       AND account_owner(l.account) IN (SELECT id FROM shown)
       AND j.entry BETWEEN (SELECT min(first_entry) FROM business_day WHERE scheme = $1::integer AND business_date >= $2)
                       AND (SELECT max(last_entry) FROM business_day WHERE scheme = $1::integer AND business_date <= $3)
    UNION ALL
    SELECT f.business_date, s.participant, 0, 0, 0, -f.service_fee - f.handling_fee, -f.service_tax - f.handling_tax, 0, 0, 0, 0,
           f.service_fee, f.service_tax, f.handling_fee, f.handling_tax
      FROM fee_days($1::integer, $2::date, $3::date) AS f
      JOIN shown_site s ON s.id = f.site),
owed AS (
    SELECT business_date, participant, sum(opening) AS opening, sum(collected) AS collected, sum(refunded) AS refunded,
           sum(service_fee) AS service_fee, sum(service_tax) AS service_tax, sum(handling_fee) AS handling_fee,
           sum(handling_tax) AS handling_tax, sum(stock) AS stock, sum(other + fees + tax) AS other, sum(paid) AS paid,
           sum(closing) AS closing
      FROM part GROUP BY business_date, participant),
item AS (
    SELECT owed.business_date, owed.participant, i.place, i.word, i.amount,
           CASE i.word WHEN 'pool' THEN owed.opening END AS opening, CASE i.word WHEN 'pool' THEN owed.closing END AS closing
      FROM owed
     CROSS JOIN (SELECT stock_terms FROM scheme WHERE id = $1::integer) AS s
     CROSS JOIN LATERAL (VALUES (1, 'deposits_collected', collected), (2, 'deposits_refunded', -refunded),
                                (3, 'service_fee', service_fee), (4, 'service_fee_tax', service_tax),
                                (5, 'handling_fee', handling_fee), (6, 'handling_fee_tax', handling_tax),
                                (7, CASE s.stock_terms WHEN 'on_deposit' THEN 'stock_deposits' ELSE 'losses' END, stock),
                                (8, 'other', other), (9, 'payments', paid), (10, 'pool', opening - closing)) AS i(place, word, amount)
     WHERE i.amount <> 0),
line AS (
    SELECT business_date, participant, place, 'item' AS line, word, greatest(amount, 0) AS debit, greatest(-amount, 0) AS credit,
           opening, closing
      FROM item
    UNION ALL
    SELECT business_date, participant, max(place) + 1, 'total', NULL, sum(greatest(amount, 0)), sum(greatest(-amount, 0)), NULL, NULL
      FROM item WHERE $5::integer IS DISTINCT FROM 2 GROUP BY business_date, participant)
SELECT s.code, line.business_date, s.currency, p.code, line.line, line.word,
       CASE WHEN debit <> 0 OR line.line = 'total' THEN amount_text(debit, s.decimals) END,
       CASE WHEN credit <> 0 OR line.line = 'total' THEN amount_text(credit, s.decimals) END,
       concat_ws(' ', s.code, line.business_date, replace(coalesce(line.word, 'total'), '_', ' ')),
       amount_text(line.opening, s.decimals), amount_text(line.closing, s.decimals), closed.business_date
  FROM line
  JOIN shown p ON p.id = line.participant
  LEFT JOIN settlement closed ON closed.scheme = $1::integer AND closed.business_date = line.business_date,
       (SELECT code, currency, decimals FROM scheme WHERE id = $1::integer) AS s
 ORDER BY p.code COLLATE "C", line.business_date, line.place
