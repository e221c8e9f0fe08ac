-- Check: the kept flows of cups to and from customers follow from what their events state and from the movements of
-- with_customers, and the kept return rate follows from them. $1 scheme.
WITH kept AS (
    SELECT k.*, opened - opened_forfeited + issued - returned - forfeited + reinstated AS moved
      FROM cup_flow k WHERE scheme = $1::integer),
days AS (SELECT business_date FROM particulars WHERE scheme = $1), -- which they are kept with
posted AS ( -- events, and those that reversals take back
    SELECT e.business_date, coalesce(o.kind, e.kind) AS kind, coalesce(o.event, e.event)::json AS event,
           CASE e.kind WHEN :kind_reversal THEN -1 ELSE 1 END AS sign
      FROM entry e JOIN days USING (business_date)
      LEFT JOIN event_id i ON e.kind = :kind_reversal AND i.scheme = e.scheme AND i.event_id = (e.event::json ->> 'reverses')::uuid
      LEFT JOIN entry o ON o.scheme = i.scheme AND o.entry = i.entry
     WHERE e.scheme = $1 AND coalesce(o.kind, e.kind) IN (:kinds_counter, :kind_forfeit, :kind_reinstate)),
stated AS (
    SELECT business_date, c.id AS cup_type,
           coalesce(sum(sign * quantity) FILTER (WHERE member = 'issued'), 0) AS issued,
           coalesce(sum(sign * quantity) FILTER (WHERE member = 'returned'), 0) AS returned,
           coalesce(sum(sign * quantity) FILTER (WHERE member = 'cups' AND kind = :kind_forfeit), 0) AS forfeited,
           coalesce(sum(sign * quantity) FILTER (WHERE member = 'cups' AND kind = :kind_reinstate), 0) AS reinstated
      FROM posted
     CROSS JOIN LATERAL (
           SELECT member, line ->> 'cup_type' AS code, (line ->> 'quantity')::bigint AS quantity
             FROM unnest(ARRAY['issued', 'returned', 'cups']) AS member, json_array_elements(event -> member) AS line
            WHERE line ->> 'home' IS NULL) AS line
      JOIN cup_type c ON c.code = line.code
     GROUP BY 1, 2),
abroad AS ( -- cups that hosts took back, by the events of the hosts that the entries follow
    SELECT e.business_date, c.id AS cup_type,
           sum((line ->> 'quantity')::bigint * CASE e.kind WHEN :kind_reversal_abroad THEN -1 ELSE 1 END) AS returned
      FROM entry e JOIN days USING (business_date)
      JOIN scheme own ON own.id = e.scheme
      JOIN followed_entry f ON f.scheme = e.scheme AND f.entry = e.entry
      JOIN entry k ON k.scheme = f.host AND k.entry = f.host_entry
      LEFT JOIN entry_reference r ON k.kind = :kind_reversal AND r.scheme = k.scheme AND r.entry = k.entry
      LEFT JOIN entry o ON o.scheme = r.scheme AND o.entry = r.referred
     CROSS JOIN json_array_elements(coalesce(o.event, k.event)::json -> 'returned') AS line
      JOIN cup_type c ON c.code = line ->> 'cup_type'
     WHERE e.scheme = $1 AND line ->> 'home' = own.code
     GROUP BY 1, 2),
opened AS (
    SELECT business_date, account_cup_type(l.account) AS cup_type, sum(l.amount) AS opened,
           coalesce(sum(l.amount) FILTER (WHERE account_kind_of(l.account) = :account_unaccounted), 0) AS opened_forfeited
      FROM leg l JOIN days USING (business_date)
     WHERE l.scheme = $1 AND account_kind_of(l.account) IN (:account_with_customers, :account_unaccounted)
       AND l.entry IN (SELECT o.entry FROM entry o WHERE o.scheme = $1 AND o.kind = :kind_opening
                       UNION ALL
                       SELECT r.entry FROM entry_reference r JOIN entry o ON o.scheme = r.scheme AND o.entry = r.referred
                        WHERE r.scheme = $1 AND o.kind = :kind_opening)
     GROUP BY 1, 2),
examined AS (
    SELECT business_date, format('%s on %s', (SELECT code FROM cup_type WHERE id = cup_type), business_date) AS what,
           (coalesce(k.issued, 0), coalesce(k.returned, 0), coalesce(k.forfeited, 0), coalesce(k.reinstated, 0),
            coalesce(k.opened, 0), coalesce(k.opened_forfeited, 0), coalesce(k.moved, 0))
           IS DISTINCT FROM (coalesce(s.issued, 0), coalesce(s.returned, 0) + coalesce(a.returned, 0), coalesce(s.forfeited, 0), coalesce(s.reinstated, 0),
                             coalesce(o.opened, 0), coalesce(o.opened_forfeited, 0), coalesce(m.movement, 0)) AS is_broken
      FROM kept k
      FULL JOIN stated s USING (business_date, cup_type)
      FULL JOIN abroad a USING (business_date, cup_type)
      FULL JOIN opened o USING (business_date, cup_type)
      FULL JOIN (SELECT business_date, account_cup_type(account) AS cup_type, movement
                   FROM balance JOIN days USING (business_date)
                  WHERE scheme = $1 AND account IN (SELECT account_of(:account_with_customers, 0, id) FROM cup_type)) m
           USING (business_date, cup_type)
    UNION ALL
    SELECT through, format('the return rate through %s', through),
           (k.first_day, k.last_day, k.issued, k.returned) IS DISTINCT FROM (r.first_day, r.last_day, r.issued, r.returned)
      FROM (SELECT max(business_date) AS through FROM days HAVING count(*) > 0) AS last
      LEFT JOIN (SELECT * FROM return_rate_kept WHERE scheme = $1) k USING (through)
     CROSS JOIN LATERAL return_rate_of($1, last.through) AS r)
SELECT count(*), count(*) FILTER (WHERE is_broken),
       first_lines(array_agg(what ORDER BY business_date, what) FILTER (WHERE is_broken))
  FROM examined
