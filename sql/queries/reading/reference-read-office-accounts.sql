-- The office's codes of a scheme's accounts as JSON, each list with the key that slices go by. $1: {scheme, effective
-- date or null for all}; $2: the key to begin after; $3: the most rows; null: no such bound. The reader: $4 its sites,
-- null: not a till; $5 its participant, null: not one. Only the office sees them.
SELECT jsonb_build_object('effective_date', o.effective_date) || office_accounts_state(o), o.effective_date
  FROM office_accounts o JOIN scheme c ON c.id = o.scheme
 WHERE c.code = ($1::text[])[1]
   AND (($1::text[])[2] IS NULL OR o.effective_date::text = ($1::text[])[2])
   AND o.effective_date::text > coalesce($2::text, '')
   AND $4::integer[] IS NULL AND $5::integer IS NULL
 ORDER BY o.effective_date LIMIT $3::bigint
