-- The agreed amounts of entry $2 of scheme $1.
SELECT home, host, amount, in_host_currency, rate_e12
  FROM agreed_amount
 WHERE scheme = $1::integer AND entry = $2::bigint
 ORDER BY home, host
