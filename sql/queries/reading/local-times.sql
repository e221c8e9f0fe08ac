-- Instants as a clock in scheme $1 shows them, as JSON: the zone's name, and the local time by each of the texts $2.
SELECT json_build_object(
           'zone', c.time_zone,
           'times', (SELECT coalesce(json_object_agg(t.text, to_char(t.text::timestamptz AT TIME ZONE c.time_zone, 'YYYY-MM-DD HH24:MI:SS')), '{}')
                       FROM (SELECT DISTINCT unnest($2::text[]) AS text) AS t))
  FROM scheme c WHERE c.id = $1::integer
