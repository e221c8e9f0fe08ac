-- The facts that a key may know of itself: role, its sites or its participant's, and for each the business
-- day that contains now (as it was made, or as it will be) with the refund values of that day. $1: the key's
-- id.
SELECT json_strip_nulls(json_build_object(
           'name', k.name, 'holder', k.holder, 'role', k.role, 'participant', p.code, 'language', k.language,
           'sites', coalesce((
               SELECT json_agg(json_build_object(
                          'site', s.code, 'scheme', c.code, 'participant', owner.code, 'business_date', today.date,
                          'refund_values', (
                              SELECT coalesce(json_agg(json_build_object(
                                         'cup_type', v.code, 'amount', amount_text(v.amount, c.decimals)) ORDER BY v.code), '[]')
                                FROM (SELECT DISTINCT ON (u.code) u.code COLLATE "C" AS code, r.amount
                                        FROM refund_value r JOIN cup_type u ON u.id = r.cup_type
                                       WHERE r.scheme = c.id AND r.effective_date <= today.date
                                       ORDER BY u.code, r.effective_date DESC) AS v))
                      ORDER BY s.code COLLATE "C")
                 FROM site s JOIN scheme c ON c.id = s.scheme JOIN participant owner ON owner.id = s.participant,
                      LATERAL (SELECT coalesce(
                          (SELECT last.business_date
                             FROM (SELECT d.business_date, d.ends_at FROM business_day d
                                    WHERE d.scheme = c.id AND d.starts_at <= now()
                                    ORDER BY d.business_date DESC LIMIT 1) AS last
                            WHERE last.ends_at > now()),
                          (SELECT max(near.date) FROM (SELECT (now() AT TIME ZONE c.time_zone)::date + n AS date
                                                         FROM generate_series(-2, 1) AS n) AS near
                            WHERE day_start(near.date, c.cut_off, c.time_zone) <= now()
                              AND near.date >= (SELECT min(t.effective_date) FROM terms t WHERE t.scheme = c.id))) AS date
                      ) AS today
                WHERE s.participant = k.participant
                   OR s.id IN (SELECT n.site FROM api_key_site n WHERE n.api_key = k.id)), '[]')))
  FROM api_key k LEFT JOIN participant p ON p.id = k.participant
 WHERE k.id = $1
