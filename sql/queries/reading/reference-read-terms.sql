-- A scheme's terms as JSON, each with the key that slices go by. $1: {scheme, effective date or null for all}; $2: the
-- key to begin after; $3: the most rows; null: no such bound. The reader: $4 its sites, null: not a till; $5 its
-- participant, null: not one.
SELECT json_strip_nulls(json_build_object(
           'effective_date', t.effective_date, 'netting', t.netting,
           'minimum_payment', amount_text(t.minimum_payment, c.decimals),
           'service_fee', amount_text(t.service_fee, c.decimals),
           'handling_fee', amount_text(t.handling_fee, c.decimals),
           'tax_rate', rate_text(t.tax_rate_ppm), 'shortage_terms', t.shortage_terms, 'variance_terms', t.variance_terms,
           'monthly_fee', amount_text(t.monthly_fee, c.decimals), 'fees', fee_rows_shown(t.fees, c.decimals),
           'pay_days', pay_days_json(t))),
       t.effective_date
  FROM terms t JOIN scheme c ON c.id = t.scheme
 WHERE c.code = ($1::text[])[1]
   AND (($1::text[])[2] IS NULL OR t.effective_date::text = ($1::text[])[2])
   AND t.effective_date::text > coalesce($2::text, '')
   AND (($4::integer[] IS NULL AND $5::integer IS NULL)
        OR c.id IN (SELECT s.scheme FROM site s WHERE s.id = ANY ($4::integer[])
                    UNION ALL
                    SELECT s.scheme FROM site s WHERE s.participant = $5::integer))
 ORDER BY t.effective_date LIMIT $3::bigint
