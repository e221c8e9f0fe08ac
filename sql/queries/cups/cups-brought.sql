-- Keeps the sightings of cups that receipts of scheme $1 bring without naming any, after entry $2 through $3: a
-- receipt with which all cups of its dispatch have arrived or are lost brings the cups that the dispatch names and
-- that are still on the road. Other entries are taken as they stood then, so that nothing depends on which
-- entries are looked at together; reversals were noted before. A dispatch that another scheme sent home is that of
-- `sent_in`. Its reversal is an entry of that scheme, and comes after all receipts of it that stand.
WITH RECURSIVE arrival AS MATERIALIZED (
    SELECT f.scheme, f.entry, f.scheme AS sent_in, f.referred AS dispatch, f.kind FROM entry_reference f
     WHERE f.scheme = $1::integer AND f.kind IN (:kinds_received) AND f.entry > $2::bigint AND f.entry <= $3::bigint
    UNION ALL
    SELECT f.scheme, f.entry, f.host, f.dispatch, f.kind FROM host_dispatch f
     WHERE f.scheme = $1::integer AND f.kind IN (:kinds_received) AND f.entry > $2::bigint AND f.entry <= $3::bigint),
receipt AS MATERIALIZED (
    SELECT e.scheme, e.entry, e.business_date, e.occurred_at, e.kind, e.site, f.sent_in, f.dispatch
      FROM arrival f JOIN entry e ON e.scheme = f.scheme AND e.entry = f.entry
     WHERE e.event NOT LIKE '%"ids":[%'
       AND EXISTS (SELECT FROM sighting s WHERE s.scheme = f.sent_in AND s.dispatch = f.dispatch)
       AND NOT EXISTS (SELECT FROM entry_reference u
                        WHERE f.sent_in <> f.scheme AND u.scheme = f.sent_in AND u.referred = f.dispatch AND u.kind = :kind_reversal)),
-- The cups that had arrived or were lost with the receipt, of each dispatch and cup type.
arrived AS (
    SELECT r.entry, account_cup_type(l.account) AS cup_type, -sum(l.amount) AS cups
      FROM receipt r
     CROSS JOIN LATERAL (
           SELECT k.scheme, k.entry FROM entry_reference k
            WHERE r.sent_in = r.scheme AND k.scheme = r.scheme AND k.referred = r.dispatch AND k.entry <= r.entry
              AND k.kind IN (:kinds_received, :kinds_lost)
           UNION ALL
           SELECT k.scheme, k.entry FROM host_dispatch k
            WHERE k.host = r.sent_in AND k.dispatch = r.dispatch AND k.scheme = r.scheme AND k.entry <= r.entry) f
      JOIN entry a ON a.scheme = f.scheme AND a.entry = f.entry
     CROSS JOIN LATERAL unnest(a.accounts, a.amounts) AS l(account, amount)
     WHERE (account_kind_of(l.account) = :account_in_transit AND r.sent_in = r.scheme
            OR account_kind_of(l.account) = :account_abroad AND r.sent_in <> r.scheme)
       AND NOT EXISTS (SELECT FROM entry_reference u
                        WHERE u.scheme = f.scheme AND u.referred = f.entry AND u.entry <= r.entry AND u.kind = :kind_reversal)
     GROUP BY 1, 2),
complete AS (
    SELECT r.* FROM receipt r
     WHERE NOT EXISTS (
           SELECT FROM transfer t LEFT JOIN arrived a ON a.entry = r.entry AND a.cup_type = t.cup_type
            WHERE t.scheme = r.sent_in AND t.dispatch = r.dispatch
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
      JOIN sighting s ON s.scheme = c.sent_in AND s.host IS NULL AND s.dispatch = c.dispatch
                     AND account_kind_of(s.went_to) = :account_in_transit
                     AND (s.reversed_by IS NULL OR (c.sent_in = c.scheme AND s.reversed_by > c.entry))
      JOIN cup k ON k.cup = s.cup
     WHERE NOT EXISTS (SELECT FROM sighting o
                        WHERE o.scheme = c.scheme AND coalesce(o.host, o.scheme) = c.sent_in AND o.dispatch = s.dispatch
                          AND o.cup = s.cup AND o.entry < c.entry
                          AND account_kind_of(o.came_from) = :account_in_transit
                          AND (o.reversed_by IS NULL OR o.reversed_by > c.entry))),
-- Of several receipts that might bring a cup, the next one brings it only if the last that did was reversed by then.
turn AS (
    SELECT s.scheme, s.entry, s.dispatch, s.cup, u.entry AS reversed_by,
           row_number() OVER (PARTITION BY s.sent_in, s.dispatch, s.cup ORDER BY s.entry) AS turn, s.sent_in
      FROM (SELECT DISTINCT scheme, entry, sent_in, dispatch, cup FROM sent) s
      LEFT JOIN entry_reference u ON u.scheme = s.scheme AND u.referred = s.entry AND u.kind = :kind_reversal
                                 AND u.entry <= $3::bigint),
brings AS (
    SELECT t.entry, t.sent_in, t.dispatch, t.cup, t.turn, true AS does, t.reversed_by AS until FROM turn t WHERE t.turn = 1
    UNION ALL
    SELECT t.entry, t.sent_in, t.dispatch, t.cup, t.turn, b.until < t.entry, CASE WHEN b.until < t.entry THEN t.reversed_by ELSE b.until END
      FROM brings b JOIN turn t ON t.sent_in = b.sent_in AND t.dispatch = b.dispatch AND t.cup = b.cup AND t.turn = b.turn + 1)
INSERT INTO sighting (scheme, entry, position, cup, business_date, occurred_at, kind, site, came_from, went_to, dispatch, brought, host)
SELECT scheme, entry, position, cup, business_date, occurred_at, kind, site, account_of(:account_in_transit, 0, cup_type),
       CASE WHEN damaged THEN account_of(:account_damaged, site, cup_type)
            ELSE account_of(:account_site_stock, site, cup_type) END, dispatch, true, nullif(sent_in, scheme)
  FROM sent s
 WHERE EXISTS (SELECT FROM brings b WHERE b.entry = s.entry AND b.cup = s.cup AND b.does)
