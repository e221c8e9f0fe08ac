-- A site's counter in a business day, as JSON: names, the time there, the cup types with a value, and what the till
-- did. $1 site, $2 business day.
SELECT json_strip_nulls(json_build_object(
           'site', s.code, 'name', s.name, 'scheme', c.code, 'currency', c.currency, 'time_zone', c.time_zone,
           'business_date', day.date,
           'time', to_char(now() AT TIME ZONE c.time_zone, 'HH24:MI'),
           'closed_on', CASE WHEN s.closed_on < day.date THEN s.closed_on END,
           'cup_types', (
               SELECT coalesce(json_agg(json_build_object(
                          'cup_type', v.code, 'name', v.name, 'volume_ml', v.volume_ml, 'value', amount_text(v.amount, c.decimals))
                          ORDER BY v.volume_ml, v.code), '[]')
                 FROM (SELECT DISTINCT ON (r.cup_type) u.code COLLATE "C" AS code, u.name, u.volume_ml, r.amount
                         FROM refund_value r JOIN cup_type u ON u.id = r.cup_type
                        WHERE r.scheme = c.id AND r.effective_date <= day.date
                        ORDER BY r.cup_type, r.effective_date DESC) AS v),
           'totals', json_build_object(
               'issued', coalesce(did.issued, 0), 'returned', coalesce(did.returned, 0),
               'collected', amount_text(coalesce(did.collected, 0), c.decimals),
               'refunded', amount_text(coalesce(did.refunded, 0), c.decimals),
               'difference', amount_text(coalesce(did.collected - did.refunded, 0), c.decimals))))
  FROM site s
  JOIN scheme c ON c.id = s.scheme
 CROSS JOIN (SELECT $2::date AS date) AS day
  LEFT JOIN till_day_of(c.id, day.date, s.id) AS did ON did.occurred_on = day.date
 WHERE s.id = $1::integer
