-- The damaged cups that wait at sites, and since when: the first day after the last one that ended without any. $1
-- scheme, $2 business day, $3 the sites to show (null: all). Closed days have their closing balances; the days since
-- are added up.
WITH waits AS (
    SELECT b.account, b.amount
      FROM balances_between($1::integer, account_of(:account_damaged, 0, 0), account_of(:account_damaged + 1, 0, 0) - 1, $2::date) AS b
     WHERE b.amount <> 0 AND ($3::integer[] IS NULL OR account_owner(b.account) = ANY ($3))),
since AS (
    SELECT w.account, w.amount, closed.business_date AS closed_on, coalesce(closed.closing, 0) AS closing,
           (SELECT z.business_date FROM balance z
             WHERE z.scheme = $1::integer AND z.account = w.account AND z.business_date <= $2 AND z.closing = 0
             ORDER BY z.business_date DESC LIMIT 1) AS empty_on
      FROM waits w
      LEFT JOIN LATERAL (SELECT b.business_date, b.closing FROM balance b
                          WHERE b.scheme = $1::integer AND b.account = w.account AND b.business_date <= $2 AND b.closing IS NOT NULL
                          ORDER BY b.business_date DESC LIMIT 1) AS closed ON true),
open_day AS (
    SELECT s.account, m.business_date, s.closing + sum(sum(m.movement)) OVER (PARTITION BY s.account ORDER BY m.business_date) AS stands
      FROM since s
     CROSS JOIN LATERAL (
           SELECT b.business_date, b.movement FROM balance b
            WHERE b.scheme = $1::integer AND b.account = s.account AND b.business_date <= $2
              AND b.business_date > coalesce(s.closed_on, '-infinity')
           UNION ALL
           SELECT r.business_date, r.movement FROM recent_balance r
            WHERE r.scheme = $1::integer AND r.account = s.account AND r.business_date <= $2) AS m
     GROUP BY s.account, s.closing, m.business_date),
begun AS (
    SELECT s.account, s.amount,
           coalesce((SELECT max(o.business_date) FROM open_day o WHERE o.account = s.account AND o.stands = 0), s.empty_on) AS empty_on
      FROM since s),
dated AS (
    SELECT b.account, b.amount,
           least((SELECT m.business_date FROM balance m
                   WHERE m.scheme = $1::integer AND m.account = b.account AND m.business_date > coalesce(b.empty_on, '-infinity')
                   ORDER BY m.business_date LIMIT 1),
                 (SELECT min(o.business_date) FROM open_day o
                   WHERE o.account = b.account AND o.business_date > coalesce(b.empty_on, '-infinity'))) AS since
      FROM begun b)
SELECT s.code, p.code, c.code, d.amount, d.since, $2 - d.since, account_name(d.account)
  FROM dated d
  JOIN site s ON s.id = account_owner(d.account)
  JOIN participant p ON p.id = s.participant
  JOIN cup_type c ON c.id = account_cup_type(d.account)
 ORDER BY d.since, s.code COLLATE "C", c.code COLLATE "C"
