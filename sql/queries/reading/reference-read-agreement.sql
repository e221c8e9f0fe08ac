-- Agreements between schemes as JSON, each with the key that slices go by. $1: {home, host, effective date}; {scheme}:
-- all in which it is home or host; {}: all, without their signers. $2: the key to begin after; $3: the most rows;
-- null: no such bound. The reader: $4 its sites, null: not a till; $5 its participant, null: not one. Only the office
-- sees them.
SELECT jsonb_build_object('home', o.code, 'host', h.code, 'effective_date', a.effective_date) || agreement_terms(a)
       || CASE WHEN ($1::text[])[1] IS NULL THEN '{}' ELSE agreement_signers(a) END,
       key
  FROM agreement a JOIN scheme o ON o.id = a.home JOIN scheme h ON h.id = a.host,
       concat(o.code, '/', h.code, '/', a.effective_date) AS key
 WHERE CASE WHEN ($1::text[])[2] IS NOT NULL THEN key = concat(($1::text[])[1], '/', ($1::text[])[2], '/', ($1::text[])[3])
            WHEN ($1::text[])[1] IS NOT NULL THEN ($1::text[])[1] IN (o.code, h.code)
            ELSE true END
   AND key COLLATE "C" > coalesce($2::text, '')
   AND $4::integer[] IS NULL AND $5::integer IS NULL
 ORDER BY key COLLATE "C" LIMIT $3::bigint
