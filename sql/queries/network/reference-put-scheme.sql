-- Makes or changes a scheme; touches no row when nothing changes. $1: code, $2: currency, $3: its decimals,
-- $4: time_zone, $5: cut_off in minutes, $6: close_after_minutes, $7: stock_terms, $8: return_target in ppm,
-- $9: dual_control, $10: count_tolerance, $11: variance_limit in minor units, $12: carry_days; operator: $13
-- name (null: none), its bank account: $14 iban or $15 account and $16 bank_code, $17 bic, $18 creditor_id;
-- $19: holidays; $20: closed_on; $21: loss_bearer; $22: group. The defaults of optional members ($6, $8, $9, $12,
-- $21, $22 null) stand here and nowhere else.
MERGE INTO scheme AS held
USING (SELECT (SELECT coalesce(max(id), 0) + 1 FROM scheme) AS id, $1::text AS code, $2::text AS currency, $3::integer AS decimals, $4::text AS time_zone,
              make_time($5::integer / 60, $5::integer % 60, 0) AS cut_off,
              coalesce($6::integer, 60) AS close_after_minutes, $7::text AS stock_terms,
              coalesce($8::integer, 900000) AS return_target_ppm, coalesce($9::boolean, true) AS dual_control,
              $10::integer AS count_tolerance, $11::bigint AS variance_limit, coalesce($12::integer, 30) AS carry_days,
              CASE WHEN $13::text IS NOT NULL THEN jsonb_strip_nulls(jsonb_build_object(
                  'name', $13::text,
                  'bank_account', jsonb_build_object('iban', $14::text, 'account', $15::text, 'bank_code', $16::text),
                  'bic', $17::text, 'creditor_id', $18::text)) END AS operator,
              ARRAY(SELECT DISTINCT day FROM unnest($19::date[]) AS day ORDER BY day) AS holidays,
              $20::date AS closed_on,
              coalesce($21::text, 'receiver') AS loss_bearer,
              coalesce($22::integer, 1) AS posting_group) AS given
   ON held.code = given.code
 WHEN MATCHED AND (held.currency, held.decimals, held.time_zone, held.cut_off, held.close_after_minutes, held.stock_terms,
                   held.return_target_ppm, held.dual_control, held.count_tolerance, held.variance_limit, held.carry_days,
                   held.operator, held.holidays, held.closed_on, held.loss_bearer,
                   held.posting_group)
      IS DISTINCT FROM (given.currency, given.decimals, given.time_zone, given.cut_off, given.close_after_minutes,
                        given.stock_terms, given.return_target_ppm, given.dual_control, given.count_tolerance,
                        given.variance_limit, given.carry_days, given.operator, given.holidays, given.closed_on,
                        given.loss_bearer, given.posting_group) THEN
      UPDATE SET currency = given.currency, decimals = given.decimals, time_zone = given.time_zone, cut_off = given.cut_off,
                 close_after_minutes = given.close_after_minutes, stock_terms = given.stock_terms,
                 return_target_ppm = given.return_target_ppm, dual_control = given.dual_control,
                 count_tolerance = given.count_tolerance, variance_limit = given.variance_limit,
                 carry_days = given.carry_days, operator = given.operator, holidays = given.holidays,
                 closed_on = given.closed_on, loss_bearer = given.loss_bearer, posting_group = given.posting_group
 WHEN NOT MATCHED THEN
      INSERT (id, code, currency, decimals, time_zone, cut_off, close_after_minutes, stock_terms, return_target_ppm,
              dual_control, count_tolerance, variance_limit, carry_days, operator, holidays, closed_on, loss_bearer,
              posting_group)
      VALUES (given.id, given.code, given.currency, given.decimals, given.time_zone, given.cut_off, given.close_after_minutes,
              given.stock_terms, given.return_target_ppm, given.dual_control, given.count_tolerance, given.variance_limit,
              given.carry_days, given.operator, given.holidays, given.closed_on, given.loss_bearer, given.posting_group)
