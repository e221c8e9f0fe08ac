-- Participants as JSON, each with the key that pages go by. $1: {code} or {null} for all; $2: the key to begin after;
-- $3: the most rows; null: no such bound. The reader: $4 its sites, null: not a till; $5 its participant, null: not one.
-- A till does not see how its participant is paid.
SELECT json_strip_nulls(json_build_object(
           'participant', p.code, 'name', p.name,
           'bank_account', CASE WHEN $4::integer[] IS NULL THEN p.bank_account END,
           'bic', CASE WHEN $4::integer[] IS NULL THEN p.bic END,
           'tax_registered', p.tax_registered,
           'mandate', CASE WHEN $4::integer[] IS NULL THEN p.mandate END)),
       p.code
  FROM participant p
 WHERE (($1::text[])[1] IS NULL OR p.code = ($1::text[])[1])
   AND p.code COLLATE "C" > coalesce($2::text, '')
   AND ($4::integer[] IS NULL OR EXISTS (SELECT FROM site s WHERE s.participant = p.id AND s.id = ANY ($4::integer[])))
   AND ($5::integer IS NULL OR p.id = $5::integer)
 ORDER BY p.code COLLATE "C" LIMIT $3::bigint
