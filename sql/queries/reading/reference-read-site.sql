-- Sites as JSON, each with the key that slices go by. $1: {code} or {null} for all; $2: the key to begin after; $3: the
-- most rows; null: no such bound. The reader: $4 its sites, null: not a till; $5 its participant, null: not one. $6: of
-- this scheme; $7: of this participant; null: any. The office's rows are read in order from an index; a bound key's few
-- are found first.
WITH slice AS (
    (SELECT s.* FROM site s
      WHERE s.code COLLATE "C" BETWEEN coalesce(($1::text[])[1], '') AND coalesce(($1::text[])[1], '~')
        AND s.code COLLATE "C" > coalesce($2::text, '')
        AND $4::integer[] IS NULL AND $5::integer IS NULL AND $6::integer IS NULL AND $7::integer IS NULL
      ORDER BY s.code COLLATE "C" LIMIT $3::bigint)
    UNION ALL
    (SELECT s.* FROM site s
      WHERE s.scheme = $6::integer AND s.code COLLATE "C" > coalesce($2::text, '')
        AND $4::integer[] IS NULL AND $5::integer IS NULL AND $7::integer IS NULL
      ORDER BY s.code COLLATE "C" LIMIT $3::bigint)
    UNION ALL
    (SELECT s.* FROM site s
      WHERE s.participant = $7::integer AND s.code COLLATE "C" > coalesce($2::text, '')
        AND $4::integer[] IS NULL AND $5::integer IS NULL AND ($6::integer IS NULL OR s.scheme = $6::integer)
      ORDER BY s.code COLLATE "C" LIMIT $3::bigint)
    UNION ALL
    SELECT s.* FROM site s
     WHERE (($1::text[])[1] IS NULL OR s.code = ($1::text[])[1]) AND s.code COLLATE "C" > coalesce($2::text, '')
       AND s.id = ANY ($4::integer[])
       AND ($6::integer IS NULL OR s.scheme = $6::integer) AND ($7::integer IS NULL OR s.participant = $7::integer)
    UNION ALL
    SELECT s.* FROM site s
     WHERE (($1::text[])[1] IS NULL OR s.code = ($1::text[])[1]) AND s.code COLLATE "C" > coalesce($2::text, '')
       AND s.participant = $5::integer
       AND ($6::integer IS NULL OR s.scheme = $6::integer) AND ($7::integer IS NULL OR s.participant = $7::integer))
SELECT json_strip_nulls(json_build_object(
           'site', s.code, 'scheme', c.code, 'participant', p.code, 'name', s.name, 'kind', s.kind,
           'opened_on', s.opened_on, 'closed_on', s.closed_on, 'latitude', s.latitude, 'longitude', s.longitude,
           'gln', s.gln, 'par_stock', s.par_stock, 'count_days', s.count_days)),
       s.code
  FROM slice s JOIN scheme c ON c.id = s.scheme JOIN participant p ON p.id = s.participant
 ORDER BY s.code COLLATE "C" LIMIT $3::bigint
