-- Sites as JSON, each with the key that pages go by. $1: {code} or {null} for all; $2: the key to begin after; $3: the most
-- rows; null: no such bound. The reader: $4 its sites, null: not a till; $5 its participant, null: not one.
SELECT json_strip_nulls(json_build_object(
           'site', s.code, 'scheme', c.code, 'participant', p.code, 'name', s.name, 'kind', s.kind,
           'opened_on', s.opened_on, 'closed_on', s.closed_on, 'latitude', s.latitude, 'longitude', s.longitude,
           'gln', s.gln, 'par_stock', s.par_stock)),
       s.code
  FROM site s JOIN scheme c ON c.id = s.scheme JOIN participant p ON p.id = s.participant
 WHERE (($1::text[])[1] IS NULL OR s.code = ($1::text[])[1])
   AND s.code COLLATE "C" > coalesce($2::text, '')
   AND ($4::integer[] IS NULL OR s.id = ANY ($4::integer[]))
   AND ($5::integer IS NULL OR s.participant = $5::integer)
 ORDER BY s.code COLLATE "C" LIMIT $3::bigint
