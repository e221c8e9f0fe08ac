-- Makes or changes terms of schemes from a business day on; a row where nothing changes stays as it is. Arrays, with an
-- element for each: $1 the scheme's code, $2 effective_date, $3 netting; in minor units $4 minimum_payment, $5
-- service_fee, $6 handling_fee; $7 tax_rate in ppm, $8 shortage_terms, $9 variance_terms, $10 whether monthly_fee is
-- given, and $11 the fee; pay_days as bits: $12 of weekdays, $13 of days of the month. Rows of fees, of all: $14 the
-- place of the terms, from 1, $15 participants and $17 cup types ('': any), $16 kinds of sites (null: any), then
-- whether each states it and the fee, in minor units: $18, $19 service_fee, $20, $21 handling_fee, $22, $23
-- monthly_fee. Gives the places, from 0, of those that differ.
WITH fee AS MATERIALIZED (
    SELECT r.place,
           jsonb_agg(jsonb_strip_nulls(jsonb_build_object(
               'participant', nullif(r.participant, ''), 'site_kind', r.site_kind, 'cup_type', nullif(r.cup_type, ''),
               'service_fee', CASE WHEN r.has_service THEN r.service END,
               'handling_fee', CASE WHEN r.has_handling THEN r.handling END,
               'monthly_fee', CASE WHEN r.has_monthly THEN r.monthly END)) ORDER BY r.position) AS fees
      FROM unnest($14::bigint[], $15::text[], $16::text[], $17::text[], $18::boolean[], $19::bigint[], $20::boolean[],
                  $21::bigint[], $22::boolean[], $23::bigint[]) WITH ORDINALITY
           AS r(place, participant, site_kind, cup_type, has_service, service, has_handling, handling, has_monthly, monthly,
                position)
     GROUP BY r.place),
given AS MATERIALIZED (
    SELECT g.place, s.id AS scheme, g.effective_date, g.netting, g.minimum_payment, g.service_fee, g.handling_fee,
           g.tax_rate_ppm, g.shortage_terms, g.variance_terms, CASE WHEN g.has_monthly_fee THEN g.monthly_fee END AS monthly_fee,
           f.fees,
           CASE WHEN g.weekdays <> 0
                THEN (SELECT array_agg(d ORDER BY d) FROM generate_series(1, 7) AS d WHERE g.weekdays >> d - 1 & 1 = 1)
                END AS pay_weekdays,
           CASE WHEN g.month_days <> 0
                THEN (SELECT array_agg(d ORDER BY d) FROM generate_series(1, 31) AS d WHERE g.month_days >> d - 1 & 1 = 1)
                END AS pay_month_days
      FROM unnest($1::text[], $2::date[], $3::text[], $4::bigint[], $5::bigint[], $6::bigint[], $7::integer[], $8::text[],
                  $9::text[], $10::boolean[], $11::bigint[], $12::integer[], $13::integer[]) WITH ORDINALITY
           AS g(scheme, effective_date, netting, minimum_payment, service_fee, handling_fee, tax_rate_ppm, shortage_terms,
                variance_terms, has_monthly_fee, monthly_fee, weekdays, month_days, place)
      JOIN scheme s ON s.code = g.scheme
      LEFT JOIN fee f ON f.place = g.place),
put AS (
    INSERT INTO terms AS held (scheme, effective_date, netting, minimum_payment, service_fee, handling_fee, tax_rate_ppm,
                               shortage_terms, variance_terms, monthly_fee, fees, pay_weekdays, pay_month_days)
    SELECT scheme, effective_date, netting, minimum_payment, service_fee, handling_fee, tax_rate_ppm, shortage_terms,
           variance_terms, monthly_fee, fees, pay_weekdays, pay_month_days
      FROM given ORDER BY place
    ON CONFLICT (scheme, effective_date) DO UPDATE
       SET netting = excluded.netting, minimum_payment = excluded.minimum_payment, service_fee = excluded.service_fee,
           handling_fee = excluded.handling_fee, tax_rate_ppm = excluded.tax_rate_ppm,
           shortage_terms = excluded.shortage_terms, variance_terms = excluded.variance_terms,
           monthly_fee = excluded.monthly_fee, fees = excluded.fees, pay_weekdays = excluded.pay_weekdays,
           pay_month_days = excluded.pay_month_days
     WHERE (held.netting, held.minimum_payment, held.service_fee, held.handling_fee, held.tax_rate_ppm, held.shortage_terms,
            held.variance_terms, held.monthly_fee, held.fees, held.pay_weekdays, held.pay_month_days)
           IS DISTINCT FROM (excluded.netting, excluded.minimum_payment, excluded.service_fee, excluded.handling_fee,
                             excluded.tax_rate_ppm, excluded.shortage_terms, excluded.variance_terms, excluded.monthly_fee,
                             excluded.fees, excluded.pay_weekdays, excluded.pay_month_days)
    RETURNING scheme, effective_date)
SELECT given.place - 1 FROM put JOIN given USING (scheme, effective_date) ORDER BY given.place
