-- The cup with identity $1: where it is, and its latest $3 sightings, the newest first. $2 the sites whose
-- sightings to show (null: all); then its whereabouts only if it was seen last at one of them. Its gaps and
-- exceptions are for the office. A sighting that was reversed counts for nothing and says so. `current`: no entry
-- waits to be looked at.
WITH asked AS (SELECT cup, id FROM cup WHERE id = $1::text),
counted AS MATERIALIZED (SELECT s.* FROM seen s WHERE s.cup = (SELECT cup FROM asked)),
last AS (SELECT * FROM counted ORDER BY place DESC LIMIT 1),
shown AS (
    SELECT s.* FROM asked JOIN sighting s USING (cup) WHERE $2::integer[] IS NULL OR s.site = ANY ($2::integer[])),
latest AS (
    SELECT s.*, c.code AS scheme_code FROM shown s JOIN scheme c ON c.id = s.scheme
     ORDER BY s.occurred_at DESC, c.code COLLATE "C" DESC, s.entry DESC, s.position DESC LIMIT $3::integer)
SELECT json_strip_nulls(json_build_object(
           'cup_id', a.id, 'asset_type', left(a.id, 14), 'serial', substr(a.id, 15),
           'cup_type', (SELECT t.code FROM last l JOIN cup_type t ON t.id = account_cup_type(l.went_to)
                         WHERE $2::integer[] IS NULL OR l.site = ANY ($2::integer[])),
           'whereabouts', (SELECT json_build_object(
                                      'place', (SELECT k.word FROM account_kind k WHERE k.kind = account_kind_of(l.went_to)),
                                      'site', f.code, 'to', (SELECT r.code FROM transfer t JOIN site r ON r.id = t.receiver
                                                              WHERE t.scheme = l.scheme AND t.dispatch = l.dispatch
                                                                AND account_kind_of(l.went_to) = :account_in_transit LIMIT 1),
                                      'since', instant_text(l.occurred_at), 'scheme', l.scheme_code, 'entry', l.entry)
                             FROM last l LEFT JOIN site f ON f.id = account_owner(l.went_to)
                            WHERE $2::integer[] IS NULL OR l.site = ANY ($2::integer[])),
           'gaps', CASE WHEN $2::integer[] IS NULL
                        THEN (SELECT count(*) FROM cup_finding f WHERE f.cup = a.cup AND f.kind = 'gap' AND NOT f.ended) END,
           'exceptions', CASE WHEN $2::integer[] IS NULL
                              THEN (SELECT coalesce(json_agg(json_build_object(
                                               'exception_id', format('%s.%s.%s', c.code, x.entry, x.position),
                                               'exception', x.kind, 'business_date', x.business_date, 'scheme', c.code,
                                               'entry', x.entry, 'open', z.entry IS NULL) ORDER BY f.number DESC), '[]')
                                      FROM cup_finding f
                                      JOIN scheme c ON c.id = f.scheme
                                      JOIN exception x ON (x.scheme, x.entry, x.position) = (f.scheme, f.entry, f.exception)
                                      LEFT JOIN exception_resolution z ON (z.scheme, z.entry, z.position) = (x.scheme, x.entry, x.position)
                                     WHERE f.cup = a.cup) END,
           'current', NOT EXISTS (SELECT FROM scheme_head h LEFT JOIN sighting_place p ON p.scheme = h.scheme
                                   WHERE h.last_entry > coalesce(p.entry, 0)),
           'sighting_count', (SELECT count(*) FROM shown),
           'sightings', (SELECT coalesce(json_agg(json_build_object(
                                    'occurred_at', instant_text(l.occurred_at), 'scheme', l.scheme_code, 'site', s.code,
                                    'kind', (SELECT k.word FROM entry_kind k WHERE k.kind = l.kind),
                                    'place', (SELECT k.word FROM account_kind k WHERE k.kind = account_kind_of(l.went_to)),
                                    'cup_type', t.code, 'brought', l.brought,
                                    'business_date', l.business_date, 'entry', l.entry,
                                    'reversed_by_entry', l.reversed_by)
                                    ORDER BY l.occurred_at DESC, l.scheme_code COLLATE "C" DESC, l.entry DESC, l.position DESC), '[]')
                           FROM latest l
                           JOIN cup_type t ON t.id = account_cup_type(l.went_to)
                           LEFT JOIN site s ON s.id = l.site)))
  FROM asked a
 WHERE EXISTS (SELECT FROM shown)
