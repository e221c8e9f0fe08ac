-- Makes or changes schemes; a row where nothing changes stays as it is. Arrays, with an element for each: $1 code, $2
-- currency, $3 its decimals, $4 time_zone, $5 cut_off in minutes, $6 whether close_after_minutes is given, and $7 the
-- minutes, $8 stock_terms, $9 whether return_target is given, and $10 the target in ppm, $11 whether dual_control is
-- given, and $12 dual_control, $13 count_tolerance, $14 whether variance_limit is given, and $15 the limit in minor
-- units, $16 whether carry_days is given, and $17 the days; operator: $18 name (null: none), its bank account: $19 iban
-- or $20 account and $21 bank_code, $22 bic, $23 creditor_id; $24 whether closed_on is given, and $25 the day; $26
-- loss_bearer; $27 whether group is given, and $28 the group. Holidays, of all: $29 the place of the scheme, from 1,
-- and $30 the day. The defaults of optional members stand here and nowhere else. Gives the places, from 0, of those
-- that differ.
WITH holiday AS MATERIALIZED (
    SELECT place, array_agg(DISTINCT day ORDER BY day) AS days FROM unnest($29::bigint[], $30::date[]) AS u(place, day) GROUP BY place),
given AS MATERIALIZED (
    SELECT g.place, g.code, g.currency, g.decimals, g.time_zone,
           make_time(g.cut_off::integer / 60, g.cut_off::integer % 60, 0) AS cut_off,
           CASE WHEN g.has_close_after THEN g.close_after ELSE 60 END AS close_after_minutes, g.stock_terms,
           CASE WHEN g.has_return_target THEN g.return_target ELSE 900000 END AS return_target_ppm,
           NOT g.has_dual_control OR g.dual_control AS dual_control, g.count_tolerance,
           CASE WHEN g.has_variance_limit THEN g.variance_limit END AS variance_limit,
           CASE WHEN g.has_carry_days THEN g.carry_days ELSE 30 END AS carry_days,
           CASE WHEN g.operator IS NOT NULL THEN jsonb_strip_nulls(jsonb_build_object(
               'name', g.operator,
               'bank_account', jsonb_build_object('iban', g.iban, 'account', g.account, 'bank_code', g.bank_code),
               'bic', g.bic, 'creditor_id', g.creditor_id)) END AS operator,
           coalesce(h.days, '{}') AS holidays, CASE WHEN g.has_closed_on THEN g.closed_on END AS closed_on,
           coalesce(g.loss_bearer, 'receiver') AS loss_bearer,
           CASE WHEN g.has_group THEN g.posting_group ELSE 1 END AS posting_group, held.id AS held,
           (SELECT coalesce(max(id), 0) FROM scheme) + row_number() OVER (PARTITION BY held.id IS NULL ORDER BY g.place) AS next
      FROM unnest($1::text[], $2::text[], $3::bigint[], $4::text[], $5::bigint[], $6::boolean[], $7::bigint[], $8::text[],
                  $9::boolean[], $10::integer[], $11::boolean[], $12::boolean[], $13::bigint[], $14::boolean[], $15::bigint[],
                  $16::boolean[], $17::bigint[], $18::text[], $19::text[], $20::text[], $21::text[], $22::text[], $23::text[],
                  $24::boolean[], $25::date[], $26::text[], $27::boolean[], $28::bigint[]) WITH ORDINALITY
           AS g(code, currency, decimals, time_zone, cut_off, has_close_after, close_after, stock_terms, has_return_target,
                return_target, has_dual_control, dual_control, count_tolerance, has_variance_limit, variance_limit,
                has_carry_days, carry_days, operator, iban, account, bank_code, bic, creditor_id, has_closed_on, closed_on,
                loss_bearer, has_group, posting_group, place)
      LEFT JOIN holiday h ON h.place = g.place
      LEFT JOIN scheme held ON held.code = g.code),
put AS (
    INSERT INTO scheme AS held (id, code, currency, decimals, time_zone, cut_off, close_after_minutes, stock_terms,
                                return_target_ppm, dual_control, count_tolerance, variance_limit, carry_days, operator,
                                holidays, closed_on, loss_bearer, posting_group)
    SELECT coalesce(held, next), code, currency, decimals, time_zone, cut_off, close_after_minutes, stock_terms,
           return_target_ppm, dual_control, count_tolerance, variance_limit, carry_days, operator, holidays, closed_on,
           loss_bearer, posting_group
      FROM given ORDER BY place
    ON CONFLICT (code) DO UPDATE
       SET currency = excluded.currency, decimals = excluded.decimals, time_zone = excluded.time_zone,
           cut_off = excluded.cut_off, close_after_minutes = excluded.close_after_minutes, stock_terms = excluded.stock_terms,
           return_target_ppm = excluded.return_target_ppm, dual_control = excluded.dual_control,
           count_tolerance = excluded.count_tolerance, variance_limit = excluded.variance_limit,
           carry_days = excluded.carry_days, operator = excluded.operator, holidays = excluded.holidays,
           closed_on = excluded.closed_on, loss_bearer = excluded.loss_bearer, posting_group = excluded.posting_group
     WHERE (held.currency, held.decimals, held.time_zone, held.cut_off, held.close_after_minutes, held.stock_terms,
            held.return_target_ppm, held.dual_control, held.count_tolerance, held.variance_limit, held.carry_days,
            held.operator, held.holidays, held.closed_on, held.loss_bearer, held.posting_group)
           IS DISTINCT FROM (excluded.currency, excluded.decimals, excluded.time_zone, excluded.cut_off,
                             excluded.close_after_minutes, excluded.stock_terms, excluded.return_target_ppm,
                             excluded.dual_control, excluded.count_tolerance, excluded.variance_limit, excluded.carry_days,
                             excluded.operator, excluded.holidays, excluded.closed_on, excluded.loss_bearer,
                             excluded.posting_group)
    RETURNING code)
SELECT given.place - 1 FROM put JOIN given ON given.code = put.code::text ORDER BY given.place
