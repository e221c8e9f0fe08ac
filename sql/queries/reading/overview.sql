-- The money of some schemes for the page of all schemes, in their order. $1 the schemes. Each row has the business day
-- that contains now. Then comes the pool's money less the deposits that it holds, by the book through that day
-- (negative: it is short). Then come late events of days that are not closed, and the first of these days. Of payments
-- that are neither confirmed nor failed it has the sums that participants pay, and that they and other pools get, and
-- how many were due before today. Last come arrears to the pool and of the pool. Money is in minor units. A scheme
-- costs some probes of indexes, one more for each account of arrears, and one for each payment that waits.
WITH asked AS (SELECT id, place FROM unnest($1::integer[]) WITH ORDINALITY AS a(id, place)),
waits AS (
    SELECT p.scheme, coalesce(sum(p.amount) FILTER (WHERE p.payer IS NOT NULL), 0) AS to_collect,
           coalesce(sum(p.amount) FILTER (WHERE p.payee IS NOT NULL), 0) AS to_pay,
           count(*) FILTER (WHERE p.due_on < (now() AT TIME ZONE s.time_zone)::date) AS overdue
      FROM (SELECT scheme, payer, payee, amount, due_on FROM payment
             WHERE scheme = ANY ($1) AND status NOT IN ('confirmed', 'failed')
            UNION ALL -- to another pool: as if to a participant
            SELECT scheme, NULL, 0, amount, due_on FROM pool_payment
             WHERE scheme = ANY ($1) AND status IN ('computed', 'approved', 'instructed')) AS p JOIN scheme s ON s.id = p.scheme
     GROUP BY p.scheme)
SELECT s.id, today.business_date, coalesce(pool.surplus, 0)::bigint, open.late_events, open.first_day,
       coalesce(w.to_collect, 0)::bigint, coalesce(w.to_pay, 0)::bigint, coalesce(w.overdue, 0),
       coalesce(due.owed, 0)::bigint, coalesce(due.owing, 0)::bigint
  FROM asked
  JOIN scheme s ON s.id = asked.id
 CROSS JOIN LATERAL ( -- as on the start page: the day that contains now, or else the latest day
       SELECT coalesce((SELECT d.business_date FROM business_day d
                         WHERE d.scheme = s.id AND d.starts_at <= now() ORDER BY d.business_date DESC LIMIT 1),
                       (SELECT max(d.business_date) FROM business_day d WHERE d.scheme = s.id),
                       current_date) AS business_date
       OFFSET 0) AS today
 CROSS JOIN LATERAL (
       SELECT sum(k.amount) AS surplus FROM kinds_through(s.id, today.business_date) AS k
        WHERE k.kind BETWEEN :account_customer_deposits AND :account_bank_suspense
           OR k.kind IN (:account_between_schemes, :account_settlement_due_scheme)) AS pool
 CROSS JOIN LATERAL (
       SELECT coalesce(sum(d.late_events), 0)::bigint AS late_events, min(d.business_date) AS first_day
         FROM business_day d WHERE d.scheme = s.id AND d.state <> 'closed' AND d.late_events > 0) AS open
 CROSS JOIN LATERAL (
       SELECT sum(greatest(b.amount, 0)) AS owed, sum(greatest(-b.amount, 0)) AS owing
         FROM balances_between(s.id, account_of(:account_arrears, 0, 0), account_of(:account_bank, 0, 0) - 1, 'infinity') AS b) AS due
  LEFT JOIN waits w ON w.scheme = s.id
 ORDER BY asked.place
