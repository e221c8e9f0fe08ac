-- Keeps the agreed amounts of entries $2 of the schemes $1. A pair whose host has such an entry for the first time gets
-- its place, from which the home follows.
WITH kept AS (
    INSERT INTO agreed_amount (scheme, entry, home, host, amount, in_host_currency, rate_e12)
    SELECT a.scheme, a.entry, a.home, a.host, a.amount, a.in_host_currency, a.rate_e12
      FROM unnest($1::integer[], $2::bigint[], $3::integer[], $4::integer[], $5::bigint[], $6::boolean[], $7::bigint[])
           AS a(scheme, entry, home, host, amount, in_host_currency, rate_e12)
    RETURNING scheme, home, host)
INSERT INTO following_place (home, host)
SELECT DISTINCT home, host FROM kept WHERE scheme = host
    ON CONFLICT DO NOTHING
