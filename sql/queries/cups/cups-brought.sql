-- Keeps the sightings of cups that receipts of scheme $1 bring without naming any, after entry $2 through $3: a
-- receipt with which all cups of its dispatch have arrived or are lost brings the cups that the dispatch names and
-- that are still on the road. Other entries are taken as they stood then, so that nothing depends on which
-- entries are looked at together; reversals were noted before.
WITH RECURSIVE receipt AS MATERIALIZED (
    SELECT e.scheme, e.entry, e.business_date, e.occurred_at, e.kind, e.site, f.referred AS dispatch
      FROM entry e JOIN entry_reference f ON f.scheme = e.scheme AND f.entry = e.entry
     WHERE e.scheme = $1::integer AND e.entry > $2::bigint AND e.entry <= $3::bigint AND e.kind IN (:kinds_received)
       AND e.event NOT LIKE '%"ids":[%'
       AND EXISTS (SELECT FROM sighting s WHERE s.scheme = e.scheme AND s.dispatch = f.referred)),
-- The cups that had arrived or were lost with the receipt, of each dispatch and cup type.
arrived AS (
    SELECT r.entry, account_cup_type(l.account) AS cup_type, -sum(l.amount) AS cups
      FROM receipt r
      JOIN entry_reference f ON f.scheme = r.scheme AND f.referred = r.dispatch AND f.entry <= r.entry
                            AND f.kind IN (:kinds_received, :kinds_lost)
      JOIN entry a ON a.scheme = f.scheme AND a.entry = f.entry
     CROSS JOIN LATERAL unnest(a.accounts, a.amounts) AS l(account, amount)
     WHERE account_kind_of(l.account) = :account_in_transit
       AND NOT EXISTS (SELECT FROM entry_reference u
                        WHERE u.scheme = f.scheme AND u.referred = f.entry AND u.entry <= r.entry AND u.kind = :kind_reversal)
     GROUP BY 1, 2),
complete AS (
    SELECT r.* FROM receipt r
     WHERE NOT EXISTS (
           SELECT FROM transfer t LEFT JOIN arrived a ON a.entry = r.entry AND a.cup_type = t.cup_type
            WHERE t.scheme = r.scheme AND t.dispatch = r.dispatch
            GROUP BY t.cup_type HAVING sum(t.sent) > coalesce(max(a.cups), 0))),
sent AS (
    SELECT c.*, s.cup, account_cup_type(s.went_to) AS cup_type,
           account_kind_of(s.came_from) = :account_damaged
           OR (s.dispatch < 0 AND EXISTS (
               SELECT FROM entry o
                 JOIN shipment h ON h.scheme = s.scheme AND h.number = s.dispatch
                CROSS JOIN LATERAL jsonb_array_elements(o.event::jsonb -> 'shipments') AS p(stated)
                CROSS JOIN LATERAL jsonb_array_elements(p.stated -> 'cups') AS l(line)
                WHERE o.scheme = s.scheme AND o.entry = s.entry AND (p.stated ->> 'dispatch')::uuid = h.event_id
                  AND l.line ->> 'condition' IS NOT NULL AND l.line -> 'ids' ? k.id)) AS damaged,
           row_number() OVER (PARTITION BY c.entry ORDER BY s.entry, s.position) AS position
      FROM complete c
      JOIN sighting s ON s.scheme = c.scheme AND s.dispatch = c.dispatch AND account_kind_of(s.went_to) = :account_in_transit
                     AND (s.reversed_by IS NULL OR s.reversed_by > c.entry)
      JOIN cup k ON k.cup = s.cup
     WHERE NOT EXISTS (SELECT FROM sighting o
                        WHERE o.scheme = s.scheme AND o.dispatch = s.dispatch AND o.cup = s.cup AND o.entry < c.entry
                          AND account_kind_of(o.came_from) = :account_in_transit
                          AND (o.reversed_by IS NULL OR o.reversed_by > c.entry))),
-- Of several receipts that might bring a cup, the next one brings it only if the last that did was reversed by then.
turn AS (
    SELECT s.scheme, s.entry, s.dispatch, s.cup, u.entry AS reversed_by,
           row_number() OVER (PARTITION BY s.dispatch, s.cup ORDER BY s.entry) AS turn
      FROM (SELECT DISTINCT scheme, entry, dispatch, cup FROM sent) s
      LEFT JOIN entry_reference u ON u.scheme = s.scheme AND u.referred = s.entry AND u.kind = :kind_reversal
                                 AND u.entry <= $3::bigint),
brings AS (
    SELECT t.entry, t.dispatch, t.cup, t.turn, true AS does, t.reversed_by AS until FROM turn t WHERE t.turn = 1
    UNION ALL
    SELECT t.entry, t.dispatch, t.cup, t.turn, b.until < t.entry, CASE WHEN b.until < t.entry THEN t.reversed_by ELSE b.until END
      FROM brings b JOIN turn t ON t.dispatch = b.dispatch AND t.cup = b.cup AND t.turn = b.turn + 1)
INSERT INTO sighting (scheme, entry, position, cup, business_date, occurred_at, kind, site, came_from, went_to, dispatch, brought)
SELECT scheme, entry, position, cup, business_date, occurred_at, kind, site, account_of(:account_in_transit, 0, cup_type),
       CASE WHEN damaged THEN account_of(:account_damaged, site, cup_type)
            ELSE account_of(:account_site_stock, site, cup_type) END, dispatch, true
  FROM sent s
 WHERE EXISTS (SELECT FROM brings b WHERE b.entry = s.entry AND b.cup = s.cup AND b.does)
