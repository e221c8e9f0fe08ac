-- A slice of the cups with identity, each as JSON with its number: beyond number $1, at most $2. $3 the sites at which
-- they were seen (null: all), $4 the identity of a single one (null: all). A cup's whereabouts are shown if it was seen
-- last at one of these sites.
WITH own AS MATERIALIZED (
    SELECT DISTINCT n.cup
      FROM unnest($3::integer[]) AS at(site)
     CROSS JOIN LATERAL (SELECT s.cup FROM sighting s WHERE s.site = at.site AND s.cup > $1::bigint
                          GROUP BY s.cup ORDER BY s.cup LIMIT $2::integer) AS n
     WHERE $4::text IS NULL),
listed AS (
    (SELECT c.* FROM cup c
      WHERE $3::integer[] IS NULL AND $4::text IS NULL AND c.cup > $1::bigint ORDER BY c.cup LIMIT $2::integer)
    UNION ALL
    (SELECT c.* FROM own JOIN cup c USING (cup) ORDER BY c.cup LIMIT $2::integer)
    UNION ALL
    SELECT c.* FROM cup c
     WHERE $4::text IS NOT NULL AND c.id = $4::text AND c.cup > $1::bigint
       AND ($3::integer[] IS NULL OR EXISTS (SELECT FROM sighting s WHERE s.cup = c.cup AND s.site = ANY ($3::integer[]))))
SELECT json_strip_nulls(json_build_object(
           'cup_id', l.id, 'cup_type', t.code, 'place', k.word, 'site', f.code, 'since', instant_text(w.occurred_at),
           'scheme', w.scheme_code, 'entry', w.entry)),
       l.cup
  FROM listed l
  LEFT JOIN LATERAL (
       SELECT s.*, c.code AS scheme_code FROM sighting s JOIN scheme c ON c.id = s.scheme
        WHERE s.cup = l.cup AND s.reversed_by IS NULL
        ORDER BY s.occurred_at DESC, c.code COLLATE "C" DESC, s.entry DESC, s.position DESC LIMIT 1) AS w
    ON $3::integer[] IS NULL OR w.site = ANY ($3::integer[])
  LEFT JOIN cup_type t ON t.id = account_cup_type(w.went_to)
  LEFT JOIN account_kind k ON k.kind = account_kind_of(w.went_to)
  LEFT JOIN site f ON f.id = account_owner(w.went_to)
 ORDER BY l.cup
