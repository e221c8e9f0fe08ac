-- The amounts that participants owe (+) and are owed (-) at the end of a day, by the time they are overdue. $1
-- scheme, $2 business day, $3 the sums 1: shown, 2: left out (null: the same). An amount that a failed payment put
-- back into a position stays as old as that payment, through any number of further failures. Buckets: common
-- practice. Lines with an account add up to the balances of settlement_due and arrears; lines without one are what
-- the last close carried forward, which is not due yet. Payments to another scheme's pool have no participant; their
-- account names the scheme.
WITH RECURSIVE last_close AS MATERIALIZED (
    SELECT max(business_date) AS business_date FROM settlement WHERE scheme = $1::integer AND business_date <= $2::date),
failed AS ( -- of a participant's payment of the close of settled_on
    SELECT side.participant, side.amount, e.business_date AS failed_on, p.business_date AS settled_on, p.due_on
      FROM payment_change c
      JOIN entry e ON e.scheme = c.scheme AND e.entry = c.entry
      JOIN payment p ON p.scheme = c.scheme AND p.payment_id = c.payment_id
     CROSS JOIN LATERAL (VALUES (p.payer, p.amount), (p.payee, -p.amount)) AS side(participant, amount)
     WHERE c.scheme = $1::integer AND c.change = 'fail' AND side.participant IS NOT NULL),
pay_day AS MATERIALIZED (
    SELECT failed_on, next_pay_day($1::integer, failed_on - 1) AS taken_on
      FROM (SELECT DISTINCT failed_on FROM failed WHERE failed_on <= $2::date) AS day),
failure AS ( -- the close of taken_on took it up; null: none has by then
    SELECT f.*, CASE WHEN d.taken_on <= c.business_date THEN d.taken_on END AS taken_on
      FROM failed f LEFT JOIN pay_day d USING (failed_on), last_close c),
chain AS ( -- the close of a day took these failures into a position, and the earlier failures
    SELECT participant, taken_on AS closed_on, settled_on, due_on FROM failure WHERE taken_on IS NOT NULL
    UNION
    SELECT chain.participant, chain.closed_on, f.settled_on, f.due_on
      FROM chain JOIN failure f ON f.participant = chain.participant AND f.taken_on = chain.settled_on),
first_due AS (SELECT participant, closed_on, min(due_on) AS due_on FROM chain GROUP BY 1, 2),
unpaid AS (
    SELECT p.business_date, side.participant, side.amount, p.due_on
      FROM payment p
     CROSS JOIN LATERAL (VALUES (p.payer, p.amount), (p.payee, -p.amount)) AS side(participant, amount)
     WHERE p.scheme = $1::integer AND p.business_date <= $2::date AND side.participant IS NOT NULL
       AND p.payment_id IN ( -- not paid yet, or only after the day
           SELECT o.payment_id FROM payment o WHERE o.scheme = $1::integer AND o.status NOT IN ('confirmed', 'failed')
           UNION ALL
           SELECT c.payment_id FROM payment_change c
            WHERE c.scheme = $1::integer
              AND c.entry >= (SELECT min(first_entry) FROM business_day WHERE scheme = $1::integer AND business_date > $2))
       AND NOT EXISTS (SELECT FROM payment_change c JOIN entry e ON e.scheme = c.scheme AND e.entry = c.entry
                        WHERE c.scheme = p.scheme AND c.payment_id = p.payment_id AND e.business_date <= $2)),
part AS (
    SELECT u.participant, :account_settlement_due AS kind, u.due_on, u.amount - coalesce(old.amount, 0) AS amount
      FROM unpaid u
      LEFT JOIN LATERAL (
           SELECT sign(u.amount::numeric) * round(abs(u.amount)::numeric * least(abs(o.arrears), abs(o.amount)) / abs(o.amount)) AS amount
             FROM position o -- of several payments of one close each bears its share
            WHERE o.scheme = $1::integer AND o.business_date = u.business_date AND o.participant = u.participant
              AND sign(o.amount) = sign(u.amount) AND sign(o.arrears) = sign(u.amount)) old ON true
    UNION ALL
    SELECT u.participant, :account_settlement_due, coalesce(d.due_on, u.due_on),
           sign(u.amount::numeric) * round(abs(u.amount)::numeric * least(abs(o.arrears), abs(o.amount)) / abs(o.amount))
      FROM unpaid u
      JOIN position o ON o.scheme = $1::integer AND o.business_date = u.business_date AND o.participant = u.participant
                     AND sign(o.amount) = sign(u.amount) AND sign(o.arrears) = sign(u.amount)
      LEFT JOIN first_due d ON d.participant = u.participant AND d.closed_on = u.business_date
    UNION ALL
    SELECT f.participant, :account_arrears, coalesce(d.due_on, f.due_on), f.amount
      FROM failure f
      LEFT JOIN first_due d ON d.participant = f.participant AND d.closed_on = f.settled_on
     WHERE f.failed_on <= $2 AND f.taken_on IS NULL),
stands AS (
    SELECT account_owner(account) AS participant, account_kind_of(account) AS kind, amount
      FROM balances_between($1::integer, account_of(:account_settlement_due, 0, 0), account_of(:account_bank, 0, 0) - 1, $2::date)),
aged AS (
    SELECT participant, kind, due_on, amount FROM part
    UNION ALL -- movements by bank lines that a person resolved, without a due date
    SELECT participant, kind, NULL, coalesce(s.amount, 0) - coalesce(p.amount, 0)
      FROM stands s FULL JOIN (SELECT participant, kind, sum(amount) AS amount FROM part GROUP BY 1, 2) p USING (participant, kind)),
pool_unpaid AS ( -- not paid yet, or only after the day
    SELECT p.host, p.due_on, p.amount
      FROM pool_payment p
     WHERE p.scheme = $1::integer AND p.business_date <= $2::date
       AND p.payment_id IN (
           SELECT o.payment_id FROM pool_payment o WHERE o.scheme = $1::integer AND o.status IN ('computed', 'approved', 'instructed')
           UNION ALL
           SELECT c.payment_id FROM payment_change c
            WHERE c.scheme = $1::integer
              AND c.entry >= (SELECT min(first_entry) FROM business_day WHERE scheme = $1::integer AND business_date > $2))
       AND NOT EXISTS (SELECT FROM payment_change c JOIN entry e ON e.scheme = c.scheme AND e.entry = c.entry
                        WHERE c.scheme = p.scheme AND c.payment_id = p.payment_id AND e.business_date <= $2)),
line AS (
    SELECT participant, kind, amount > 0 AS receivable, min(due_on) AS first_due_on,
           coalesce(sum(amount) FILTER (WHERE $2 - due_on <= 0), 0) AS current,
           coalesce(sum(amount) FILTER (WHERE $2 - due_on BETWEEN 1 AND 7), 0) AS days_1_7,
           coalesce(sum(amount) FILTER (WHERE $2 - due_on BETWEEN 8 AND 30), 0) AS days_8_30,
           coalesce(sum(amount) FILTER (WHERE $2 - due_on BETWEEN 31 AND 60), 0) AS days_31_60,
           coalesce(sum(amount) FILTER (WHERE $2 - due_on > 60), 0) AS days_over_60,
           coalesce(sum(amount) FILTER (WHERE due_on IS NULL), 0) AS undated, sum(amount) AS total,
           0 AS carried, CASE WHEN kind = :account_arrears THEN 'pay_day' END AS waits_for, NULL::integer AS host
      FROM aged WHERE amount <> 0 GROUP BY 1, 2, 3
    UNION ALL
    SELECT participant, NULL, amount > arrears, NULL, 0, 0, 0, 0, 0, 0, amount - arrears, amount - arrears,
           CASE WHEN carried_since IS NULL THEN 'pay_day' ELSE 'size' END, NULL
      FROM position JOIN last_close USING (business_date)
     WHERE scheme = $1::integer AND carried AND amount <> arrears
    UNION ALL
    SELECT NULL, :account_settlement_due_scheme AS kind, false, min(due_on), coalesce(sum(-amount) FILTER (WHERE $2 - due_on <= 0), 0),
           coalesce(sum(-amount) FILTER (WHERE $2 - due_on BETWEEN 1 AND 7), 0),
           coalesce(sum(-amount) FILTER (WHERE $2 - due_on BETWEEN 8 AND 30), 0),
           coalesce(sum(-amount) FILTER (WHERE $2 - due_on BETWEEN 31 AND 60), 0),
           coalesce(sum(-amount) FILTER (WHERE $2 - due_on > 60), 0), 0, sum(-amount), 0, NULL, host
      FROM pool_unpaid GROUP BY host),
shown AS (
    SELECT false AS is_total, line.* FROM line
    UNION ALL
    SELECT true, NULL, max(kind), receivable, NULL, sum(current), sum(days_1_7), sum(days_8_30), sum(days_31_60), sum(days_over_60),
           sum(undated), sum(total), sum(carried), NULL, NULL
      FROM line WHERE $3::integer = 1 AND kind IS NOT NULL GROUP BY kind = :account_arrears, receivable)
SELECT CASE WHEN is_total THEN CASE kind WHEN :account_arrears THEN 'total_arrears' ELSE 'total_due' END ELSE p.code END,
       CASE WHEN receivable THEN 'receivable' ELSE 'payable' END, k.word || '(' || coalesce(p.code, h.code) || ')', first_due_on,
       amount_text(current, scheme.decimals), amount_text(days_1_7, scheme.decimals), amount_text(days_8_30, scheme.decimals),
       amount_text(days_31_60, scheme.decimals), amount_text(days_over_60, scheme.decimals), amount_text(undated, scheme.decimals),
       amount_text(total, scheme.decimals), amount_text(carried, scheme.decimals), waits_for,
       CASE WHEN waits_for IS NOT NULL
            THEN (SELECT next_pay_day($1::integer, coalesce(c.business_date, $2::date - 1)) FROM last_close c) END
  FROM shown LEFT JOIN participant p ON p.id = shown.participant LEFT JOIN scheme h ON h.id = shown.host
  LEFT JOIN account_kind k USING (kind), scheme
 WHERE scheme.id = $1::integer
 ORDER BY is_total, receivable DESC, p.code COLLATE "C", kind, h.code COLLATE "C"
