-- Makes or changes what two schemes agree on from a business day on; touches no row when nothing changes. $1: the
-- home's code, $2: the host's; $3: effective_date; $4: whether it is in the host's currency; $5: the rate, times
-- 10^12; $6: codes of cup types and $7: their amounts in minor units; the keys that signed for
-- the home, $8, and the host, $9 (null: nobody yet).
MERGE INTO agreement AS held
USING (SELECT o.id AS home, h.id AS host, $3::date AS effective_date, $4::boolean AS in_host_currency, $5::bigint AS rate_e12,
              coalesce(sorted.cup_types, '{}') AS cup_types, coalesce(sorted.amounts, '{}') AS amounts,
              $8::integer AS home_signed_by, $9::integer AS host_signed_by
         FROM scheme o
         JOIN scheme h ON h.code = $2::text
        CROSS JOIN (SELECT array_agg(c.id ORDER BY c.id) AS cup_types, array_agg(u.amount ORDER BY c.id) AS amounts
                      FROM unnest($6::text[], $7::bigint[]) AS u(code, amount) JOIN cup_type c ON c.code = u.code) AS sorted
        WHERE o.code = $1::text) AS given
   ON held.home = given.home AND held.host = given.host AND held.effective_date = given.effective_date
 WHEN MATCHED AND (held.in_host_currency, held.rate_e12, held.cup_types, held.amounts)
      IS DISTINCT FROM (given.in_host_currency, given.rate_e12, given.cup_types, given.amounts) THEN
      UPDATE SET in_host_currency = given.in_host_currency, rate_e12 = given.rate_e12, cup_types = given.cup_types,
                 amounts = given.amounts, home_signed_by = given.home_signed_by, host_signed_by = given.host_signed_by
 WHEN NOT MATCHED THEN
      INSERT (home, host, effective_date, in_host_currency, rate_e12, cup_types, amounts, home_signed_by, host_signed_by)
      VALUES (given.home, given.host, given.effective_date, given.in_host_currency, given.rate_e12, given.cup_types,
              given.amounts, given.home_signed_by, given.host_signed_by)
