-- Makes or changes a scheme's terms from a business day on; touches no row when nothing changes. $1: the scheme's code,
-- $2: effective_date, $3: netting; in minor units $4: minimum_payment, $5: service_fee, $6: handling_fee; $7: tax_rate
-- in ppm, $8: shortage_terms, $9: variance_terms; pay_days as bits: $10 of weekdays, $11 of days of the month.
MERGE INTO terms AS held
USING (SELECT id AS scheme, $2::date AS effective_date, $3::text AS netting, $4::bigint AS minimum_payment,
              $5::bigint AS service_fee, $6::bigint AS handling_fee, $7::integer AS tax_rate_ppm,
              $8::text AS shortage_terms, $9::text AS variance_terms,
              (SELECT array_agg(d ORDER BY d) FROM generate_series(1, 7) AS d WHERE $10::integer >> d - 1 & 1 = 1) AS pay_weekdays,
              (SELECT array_agg(d ORDER BY d) FROM generate_series(1, 31) AS d WHERE $11::integer >> d - 1 & 1 = 1) AS pay_month_days
         FROM scheme WHERE code = $1::text) AS given
   ON held.scheme = given.scheme AND held.effective_date = given.effective_date
 WHEN MATCHED AND (held.netting, held.minimum_payment, held.service_fee, held.handling_fee, held.tax_rate_ppm,
                   held.shortage_terms, held.variance_terms, held.pay_weekdays, held.pay_month_days)
      IS DISTINCT FROM (given.netting, given.minimum_payment, given.service_fee, given.handling_fee, given.tax_rate_ppm,
                        given.shortage_terms, given.variance_terms, given.pay_weekdays, given.pay_month_days) THEN
      UPDATE SET netting = given.netting, minimum_payment = given.minimum_payment, service_fee = given.service_fee,
                 handling_fee = given.handling_fee, tax_rate_ppm = given.tax_rate_ppm,
                 shortage_terms = given.shortage_terms, variance_terms = given.variance_terms,
                 pay_weekdays = given.pay_weekdays, pay_month_days = given.pay_month_days
 WHEN NOT MATCHED THEN
      INSERT (scheme, effective_date, netting, minimum_payment, service_fee, handling_fee, tax_rate_ppm, shortage_terms,
              variance_terms, pay_weekdays, pay_month_days)
      VALUES (given.scheme, given.effective_date, given.netting, given.minimum_payment, given.service_fee,
              given.handling_fee, given.tax_rate_ppm, given.shortage_terms, given.variance_terms, given.pay_weekdays,
              given.pay_month_days)
