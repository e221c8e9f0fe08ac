-- The sites of a key, to choose a counter from. $1 sites.
SELECT coalesce(json_agg(json_build_object('site', s.code, 'name', s.name, 'scheme', c.code) ORDER BY s.name, s.code), '[]')
  FROM site s JOIN scheme c ON c.id = s.scheme
 WHERE s.id = ANY ($1::integer[])
