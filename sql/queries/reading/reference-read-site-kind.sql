-- Sites' dated kinds as JSON, each with the key that slices go by. $1: {site, effective date or nulls for all}; $2: the
-- key to begin after; $3: the most rows; null: no such bound. The reader: $4 its sites, null: not a till; $5 its
-- participant, null: not one.
SELECT json_build_object('site', s.code, 'effective_date', k.effective_date, 'kind', k.kind), key
  FROM site_kind k JOIN site s ON s.id = k.site, concat(s.code, '/', k.effective_date) AS key
 WHERE (($1::text[])[1] IS NULL OR s.code = ($1::text[])[1])
   AND (($1::text[])[2] IS NULL OR k.effective_date::text = ($1::text[])[2])
   AND key COLLATE "C" > coalesce($2::text, '')
   AND (($4::integer[] IS NULL AND $5::integer IS NULL) OR s.id = ANY ($4::integer[]) OR s.participant = $5::integer)
 ORDER BY key COLLATE "C" LIMIT $3::bigint
