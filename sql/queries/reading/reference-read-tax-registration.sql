-- Participants' dated registrations for tax as JSON, each with the key that slices go by. $1: {participant, effective
-- date or nulls for all}; $2: the key to begin after; $3: the most rows; null: no such bound. The reader: $4 its sites,
-- null: not a till; $5 its participant, null: not one.
SELECT json_build_object('participant', p.code, 'effective_date', r.effective_date, 'tax_registered', r.tax_registered), key
  FROM tax_registration r JOIN participant p ON p.id = r.participant, concat(p.code, '/', r.effective_date) AS key
 WHERE (($1::text[])[1] IS NULL OR p.code = ($1::text[])[1])
   AND (($1::text[])[2] IS NULL OR r.effective_date::text = ($1::text[])[2])
   AND key COLLATE "C" > coalesce($2::text, '')
   AND (($4::integer[] IS NULL AND $5::integer IS NULL)
        OR p.id = $5::integer OR p.id IN (SELECT s.participant FROM site s WHERE s.id = ANY ($4::integer[])))
 ORDER BY key COLLATE "C" LIMIT $3::bigint
