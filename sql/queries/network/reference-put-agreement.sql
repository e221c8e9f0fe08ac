-- Makes or changes what pairs of schemes agree on from business days on; a row where nothing but the signers changes
-- stays as it is. Arrays, with an element for each: $1 the home's code, $2 the host's, $3 effective_date, $4 whether it
-- is in the host's currency, $5 the rate times 10^12, the keys that signed for the home, $6, and the host, $7 (0:
-- nobody yet). Of all amounts: $8 the place of the agreement, from 1, $9 the cup type's code, $10 the amount in minor
-- units. Gives the places, from 0, of those that differ.
WITH amount AS MATERIALIZED (
    SELECT u.agreement, array_agg(c.id ORDER BY c.id) AS cup_types, array_agg(u.amount ORDER BY c.id) AS amounts
      FROM unnest($8::bigint[], $9::text[], $10::bigint[]) AS u(agreement, code, amount)
      JOIN cup_type c ON c.code = u.code
     GROUP BY u.agreement),
given AS MATERIALIZED (
    SELECT g.place, o.id AS home, h.id AS host, g.effective_date, g.in_host_currency, g.rate_e12,
           coalesce(m.cup_types, '{}') AS cup_types, coalesce(m.amounts, '{}') AS amounts,
           nullif(g.home_signed_by, 0) AS home_signed_by, nullif(g.host_signed_by, 0) AS host_signed_by
      FROM unnest($1::text[], $2::text[], $3::date[], $4::boolean[], $5::bigint[], $6::integer[], $7::integer[])
           WITH ORDINALITY AS g(home, host, effective_date, in_host_currency, rate_e12, home_signed_by, host_signed_by, place)
      JOIN scheme o ON o.code = g.home
      JOIN scheme h ON h.code = g.host
      LEFT JOIN amount m ON m.agreement = g.place),
put AS (
    INSERT INTO agreement AS held (home, host, effective_date, in_host_currency, rate_e12, cup_types, amounts, home_signed_by,
                                   host_signed_by)
    SELECT home, host, effective_date, in_host_currency, rate_e12, cup_types, amounts, home_signed_by, host_signed_by
      FROM given ORDER BY place
    ON CONFLICT (home, host, effective_date) DO UPDATE
       SET in_host_currency = excluded.in_host_currency, rate_e12 = excluded.rate_e12, cup_types = excluded.cup_types,
           amounts = excluded.amounts, home_signed_by = excluded.home_signed_by, host_signed_by = excluded.host_signed_by
     WHERE (held.in_host_currency, held.rate_e12, held.cup_types, held.amounts)
           IS DISTINCT FROM (excluded.in_host_currency, excluded.rate_e12, excluded.cup_types, excluded.amounts)
    RETURNING home, host, effective_date)
SELECT given.place - 1 FROM put JOIN given USING (home, host, effective_date) ORDER BY given.place
