-- All agreements between schemes, by home, host and date, each with its cup types in ascending order and their amounts.
SELECT home, host, effective_date, in_host_currency, rate_e12, cup_types, amounts FROM agreement ORDER BY home, host, effective_date
