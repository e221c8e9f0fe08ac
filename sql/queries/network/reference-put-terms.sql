-- Makes or changes a scheme's terms from a business day on; touches no row when nothing changes. $1: the scheme's code,
-- $2: effective_date, $3: netting; in minor units $4: minimum_payment, $5: service_fee, $6: handling_fee; $7: tax_rate
-- in ppm, $8: shortage_terms, $9: variance_terms, $10: monthly_fee (null: none); rows of fees: $11 participants and $13
-- cup types ('': any), $12 kinds of sites (null: any), then whether each states it and the fee, in minor units: $14,
-- $15 service_fee, $16, $17 handling_fee, $18, $19 monthly_fee; pay_days as bits: $20 of weekdays, $21 of days of the
-- month.
MERGE INTO terms AS held
USING (SELECT id AS scheme, $2::date AS effective_date, $3::text AS netting, $4::bigint AS minimum_payment,
              $5::bigint AS service_fee, $6::bigint AS handling_fee, $7::integer AS tax_rate_ppm,
              $8::text AS shortage_terms, $9::text AS variance_terms, $10::bigint AS monthly_fee,
              (SELECT jsonb_agg(jsonb_strip_nulls(jsonb_build_object(
                          'participant', nullif(r.participant, ''), 'site_kind', r.site_kind, 'cup_type', nullif(r.cup_type, ''),
                          'service_fee', CASE WHEN r.has_service THEN r.service END,
                          'handling_fee', CASE WHEN r.has_handling THEN r.handling END,
                          'monthly_fee', CASE WHEN r.has_monthly THEN r.monthly END)) ORDER BY r.position)
                 FROM unnest($11::text[], $12::text[], $13::text[], $14::boolean[], $15::bigint[], $16::boolean[], $17::bigint[],
                             $18::boolean[], $19::bigint[]) WITH ORDINALITY
                      AS r(participant, site_kind, cup_type, has_service, service, has_handling, handling, has_monthly, monthly,
                           position)) AS fees,
              (SELECT array_agg(d ORDER BY d) FROM generate_series(1, 7) AS d WHERE $20::integer >> d - 1 & 1 = 1) AS pay_weekdays,
              (SELECT array_agg(d ORDER BY d) FROM generate_series(1, 31) AS d WHERE $21::integer >> d - 1 & 1 = 1) AS pay_month_days
         FROM scheme WHERE code = $1::text) AS given
   ON held.scheme = given.scheme AND held.effective_date = given.effective_date
 WHEN MATCHED AND (held.netting, held.minimum_payment, held.service_fee, held.handling_fee, held.tax_rate_ppm,
                   held.shortage_terms, held.variance_terms, held.monthly_fee, held.fees, held.pay_weekdays, held.pay_month_days)
      IS DISTINCT FROM (given.netting, given.minimum_payment, given.service_fee, given.handling_fee, given.tax_rate_ppm,
                        given.shortage_terms, given.variance_terms, given.monthly_fee, given.fees, given.pay_weekdays, given.pay_month_days) THEN
      UPDATE SET netting = given.netting, minimum_payment = given.minimum_payment, service_fee = given.service_fee,
                 handling_fee = given.handling_fee, tax_rate_ppm = given.tax_rate_ppm,
                 shortage_terms = given.shortage_terms, variance_terms = given.variance_terms,
                 monthly_fee = given.monthly_fee, fees = given.fees,
                 pay_weekdays = given.pay_weekdays, pay_month_days = given.pay_month_days
 WHEN NOT MATCHED THEN
      INSERT (scheme, effective_date, netting, minimum_payment, service_fee, handling_fee, tax_rate_ppm, shortage_terms,
              variance_terms, monthly_fee, fees, pay_weekdays, pay_month_days)
      VALUES (given.scheme, given.effective_date, given.netting, given.minimum_payment, given.service_fee,
              given.handling_fee, given.tax_rate_ppm, given.shortage_terms, given.variance_terms, given.monthly_fee, given.fees,
              given.pay_weekdays, given.pay_month_days)
