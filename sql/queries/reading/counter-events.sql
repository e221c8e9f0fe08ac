-- The newest events of a site in a business day, or the event with an id, each as JSON. $1 site, $2 business day, $3 at
-- most, $4 event id (null: the day's). The lines and the money of a reversal are those of the event that it reverses.
-- `till` is the money that the till took; a negative one, that it gave.
WITH here AS (
    SELECT s.id AS site, c.id AS scheme, c.code, c.decimals, c.time_zone FROM site s JOIN scheme c ON c.id = s.scheme
     WHERE s.id = $1::integer),
chosen AS (
    (SELECT e.* FROM here
       JOIN business_day d ON d.scheme = here.scheme AND d.business_date = $2::date
      CROSS JOIN LATERAL (
            SELECT n.* FROM entry n
             WHERE n.site = $1 AND n.entry BETWEEN d.first_entry AND d.last_entry
               AND n.business_date = d.business_date AND n.event IS NOT NULL
             ORDER BY n.entry DESC LIMIT $3::integer) AS e
      WHERE $4::uuid IS NULL)
    UNION ALL
    (SELECT e.* FROM here
       JOIN event_id i ON i.scheme = here.scheme AND i.event_id = $4::uuid
       JOIN entry e ON e.scheme = here.scheme AND e.entry = i.entry
      WHERE e.site = $1)),
told AS (
    SELECT c.entry, c.business_date, c.kind, c.late, c.occurred_at, c.event::json AS event, here.scheme, here.code,
           here.decimals, here.time_zone, undone.kind AS undone_kind, coalesce(undone.event, c.event)::json AS did,
           coalesce(undone.kind, c.kind) AS did_kind, coalesce(undone.accounts, c.accounts) AS accounts,
           coalesce(undone.amounts, c.amounts) AS amounts
      FROM here CROSS JOIN chosen c
      LEFT JOIN LATERAL (
           SELECT r.kind, r.event, r.accounts, r.amounts
             FROM entry_reference f JOIN entry r ON (r.scheme, r.entry) = (f.scheme, f.referred)
            WHERE (f.scheme, f.entry) = (here.scheme, c.entry) AND c.kind = :kind_reversal) AS undone ON true)
SELECT json_strip_nulls(json_build_object(
           'event_id', t.event ->> 'event_id', 'business_date', t.business_date, 'scheme', t.code,
           'kind', (SELECT word FROM entry_kind WHERE kind = t.kind),
           'undone_kind', (SELECT word FROM entry_kind WHERE kind = t.undone_kind),
           'time', to_char(t.occurred_at AT TIME ZONE t.time_zone, 'HH24:MI'),
           'late', CASE WHEN t.late THEN (t.occurred_at AT TIME ZONE t.time_zone)::date END,
           'to', t.did ->> 'to', 'reference', t.did ->> 'reference', 'tender', t.did ->> 'tender',
           'lines', (SELECT json_agg(json_build_object(
                                'list', list.name, 'cup_type', u.name, 'quantity', coalesce(line.cups ->> 'quantity', line.cups ->> 'counted'),
                                'damaged', CASE line.cups ->> 'condition' WHEN 'damaged' THEN true END)
                                ORDER BY list.place, line.place)
                       FROM (VALUES (1, 'returned'), (2, 'issued'), (3, 'cups')) AS list(place, name)
                      CROSS JOIN LATERAL json_array_elements(t.did -> list.name) WITH ORDINALITY AS line(cups, place)
                       JOIN cup_type u ON u.code = line.cups ->> 'cup_type'),
           'till', CASE WHEN t.did_kind IN (:kinds_counter)
                        THEN amount_text(CASE t.kind WHEN :kind_reversal THEN -1 ELSE 1 END * at_till.amount, t.decimals) END,
           'undone_at', (SELECT to_char(r.occurred_at AT TIME ZONE t.time_zone, 'HH24:MI')
                           FROM entry_reference f JOIN entry r ON (r.scheme, r.entry) = (f.scheme, f.entry)
                          WHERE (f.scheme, f.referred) = (t.scheme, t.entry) AND f.kind = :kind_reversal),
           'exceptions', (SELECT json_agg(json_build_object(
                                     'exception', x.kind, 'cup_type', u.name, 'quantity', x.quantity,
                                     'amount', amount_text(x.amount, t.decimals)) ORDER BY x.position)
                            FROM exception x LEFT JOIN cup_type u ON u.id = x.cup_type
                           WHERE (x.scheme, x.entry) = (t.scheme, t.entry) AND x.position < 1000))),
       t.entry
  FROM told t
 CROSS JOIN LATERAL (
       SELECT coalesce(CASE t.did_kind WHEN :kind_return THEN -1 ELSE 1 END
                       * round((t.did ->> 'amount')::numeric * power(10::numeric, t.decimals)),
                       (SELECT sum(l.amount) FROM unnest(t.accounts, t.amounts) AS l(account, amount)
                         WHERE l.account >> 48 IN (:account_stock_deposits, :account_site_clearing)), 0) AS amount) AS at_till
 ORDER BY t.entry DESC
