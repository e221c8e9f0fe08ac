-- Schemes as JSON, each with the key that slices go by. $1: {code} or {null} for all; $2: the key to begin after; $3:
-- the most rows; null: no such bound. The reader: $4 its sites, null: not a till; $5 its participant, null: not one.
-- Only the office sees the operator's bank account.
SELECT json_strip_nulls(json_build_object(
           'scheme', c.code, 'currency', c.currency, 'time_zone', c.time_zone, 'cut_off', to_char(c.cut_off, 'HH24:MI'),
           'close_after_minutes', c.close_after_minutes, 'stock_terms', c.stock_terms,
           'return_target', rate_text(c.return_target_ppm), 'dual_control', c.dual_control,
           'count_tolerance', c.count_tolerance, 'variance_limit', amount_text(c.variance_limit, c.decimals),
           'carry_days', c.carry_days, 'loss_bearer', c.loss_bearer,
           'operator', CASE WHEN c.operator IS NOT NULL THEN json_build_object(
               'name', c.operator->'name',
               'bank_account', CASE WHEN reader.office THEN c.operator->'bank_account' END,
               'bic', CASE WHEN reader.office THEN c.operator->'bic' END,
               'creditor_id', c.operator->'creditor_id') END,
           'holidays', CASE WHEN cardinality(c.holidays) > 0 THEN c.holidays END, 'closed_on', c.closed_on,
           'group', nullif(c.posting_group, 1))),
       c.code
  FROM scheme c, (SELECT $4::integer[] IS NULL AND $5::integer IS NULL AS office) AS reader
 WHERE c.code COLLATE "C" BETWEEN coalesce(($1::text[])[1], '') AND coalesce(($1::text[])[1], '~')
   AND c.code COLLATE "C" > coalesce($2::text, '')
   AND (reader.office OR c.id IN (SELECT s.scheme FROM site s WHERE s.id = ANY ($4::integer[])
                                  UNION ALL
                                  SELECT s.scheme FROM site s WHERE s.participant = $5::integer))
 ORDER BY c.code COLLATE "C" LIMIT $3::bigint
