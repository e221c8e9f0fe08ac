-- A slice of the requested shipments of scheme $1, by age, each as JSON, with its number: beyond number $2, at most $3;
-- $4 the sites to show (null: all), $5 only those of a site (null: all of these), $6 the list of shipment_listed, $7
-- whether the day on which they are wanted has passed (null: either).
WITH place AS (
    SELECT DISTINCT coalesce(of.site, 0) AS site
      FROM (SELECT unnest($4::integer[]) AS site WHERE $5::integer IS NULL
            UNION ALL
            SELECT $5::integer WHERE $4::integer[] IS NULL OR $5 = ANY ($4)) AS of
     WHERE of.site IS NOT NULL OR $4 IS NULL),
today AS (
    SELECT max(d.business_date) AS day FROM business_day d WHERE d.scheme = $1::integer AND d.starts_at <= now()),
found AS (
    SELECT DISTINCT n.number
      FROM place
     CROSS JOIN LATERAL (
           SELECT l.number FROM shipment_listed l
            WHERE l.scheme = $1::integer AND l.site = place.site AND l.list = $6::text AND l.number :beyond $2::bigint
              AND ($7::boolean IS NULL
                   OR $7 = (SELECT r.wanted_on < today.day FROM shipment_request r, today
                             WHERE r.scheme = l.scheme AND r.number = l.number))
            ORDER BY l.number :onward LIMIT $3::integer) AS n
     ORDER BY n.number :onward LIMIT $3::integer)
SELECT json_strip_nulls(json_build_object(
           'shipment', r.shipment, 'scheme', c.code, 'site', s.code, 'to', t.code, 'state', stood.state, 'waits_for', stood.waits_for,
           'wanted_on', r.wanted_on, 'days_over', CASE WHEN stood.is_open THEN nullif(greatest(today.day - r.wanted_on, 0), 0) END,
           'requested', asked.cups, 'dispatched', coalesce(gone.sent, 0), 'received', coalesce(gone.received, 0),
           'lost', coalesce(gone.lost, 0), 'missing', coalesce(gone.missing, 0),
           'requested_at', instant_text(r.requested_at), 'requested_by', k.name)),
       r.number
  FROM found f
  JOIN shipment_request r ON r.scheme = $1::integer AND r.number = f.number
 CROSS JOIN today
  JOIN scheme c ON c.id = r.scheme
  JOIN site s ON s.id = r.sender
  JOIN site t ON t.id = r.receiver
  JOIN api_key k ON k.id = r.requested_by
 CROSS JOIN LATERAL (SELECT sum(l.cups) AS cups FROM shipment_line l WHERE l.scheme = r.scheme AND l.number = r.number) AS asked
 CROSS JOIN LATERAL (SELECT sum(g.sent) AS sent, sum(g.received) AS received, sum(g.lost) AS lost, sum(g.missing) AS missing
                       FROM shipment_sent g WHERE g.scheme = r.scheme AND g.number = r.number) AS gone
 CROSS JOIN LATERAL (
       SELECT max(l.list) FILTER (WHERE l.list IN ('requested', 'in_transit', 'short', 'arrived', 'withdrawn')) AS state,
              json_agg(l.list ORDER BY l.list DESC) FILTER (WHERE l.list IN ('sender', 'receiver', 'accountant')) AS waits_for,
              bool_or(l.list = 'open') AS is_open
         FROM shipment_listed l WHERE l.scheme = r.scheme AND l.number = r.number AND l.site = 0) AS stood
 ORDER BY r.number :onward
