-- Participants as JSON, each with the key that slices go by. $1: {code} or {null} for all; $2: the key to begin after;
-- $3: the most rows; null: no such bound. The reader: $4 its sites, null: not a till; $5 its participant, null: not
-- one. $6: with sites in this scheme; null: any. A till does not see how its participant is paid. The office's rows are
-- read in order from an index; those of a bound key or a scheme are found first.
WITH own AS MATERIALIZED (
    SELECT participant FROM site WHERE id = ANY ($4::integer[]) AND ($6::integer IS NULL OR scheme = $6::integer)
    UNION
    SELECT $5::integer
     WHERE $5::integer IS NOT NULL
       AND ($6::integer IS NULL OR EXISTS (SELECT FROM site WHERE participant = $5::integer AND scheme = $6::integer))
    UNION
    SELECT participant FROM site WHERE scheme = $6::integer AND $4::integer[] IS NULL AND $5::integer IS NULL),
slice AS (
    (SELECT s.* FROM participant s
      WHERE s.code COLLATE "C" BETWEEN coalesce(($1::text[])[1], '') AND coalesce(($1::text[])[1], '~')
        AND s.code COLLATE "C" > coalesce($2::text, '')
        AND $4::integer[] IS NULL AND $5::integer IS NULL AND $6::integer IS NULL
      ORDER BY s.code COLLATE "C" LIMIT $3::bigint)
    UNION ALL
    SELECT s.* FROM own CROSS JOIN LATERAL (SELECT * FROM participant p WHERE p.id = own.participant OFFSET 0) AS s
     WHERE (($1::text[])[1] IS NULL OR s.code = ($1::text[])[1]) AND s.code COLLATE "C" > coalesce($2::text, ''))
SELECT json_strip_nulls(json_build_object(
           'participant', p.code, 'name', p.name,
           'bank_account', CASE WHEN $4::integer[] IS NULL THEN p.bank_account END,
           'bic', CASE WHEN $4::integer[] IS NULL THEN p.bic END,
           'tax_registered', p.tax_registered,
           'mandate', CASE WHEN $4::integer[] IS NULL THEN p.mandate END)),
       p.code
  FROM slice p
 ORDER BY p.code COLLATE "C" LIMIT $3::bigint
