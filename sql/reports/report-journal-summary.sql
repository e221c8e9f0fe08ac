-- The movement of each account of money in each business day, with the code of the office's own ledger on that day;
-- then the day's totals. $1 scheme, $2 first and $3 last business day, $4 a line for each 1: account (null: the same),
-- 2: code, $5 totals 1: shown (null: the same), 2: left out. A line is the net movement of its account, on one side.
-- Tax has a line for each of two directions: input tax on handling fees is not set off against output tax. Nor are
-- debits and credits of different accounts that share a code.
WITH of_scheme AS (SELECT code, currency, decimals FROM scheme WHERE id = $1::integer),
chart AS MATERIALIZED (SELECT * FROM office_codes($1::integer)),
input_tax AS MATERIALIZED (
    SELECT business_date, -sum(handling_tax) AS amount FROM fee_days($1::integer, $2::date, $3::date) GROUP BY 1),
moved AS (
    SELECT a.business_date, a.account, a.movement - coalesce(t.amount, 0) AS amount, false AS on_handling
      FROM account_days($1::integer, ARRAY(SELECT money_accounts($1::integer)), $2::date, $3::date) AS a
      LEFT JOIN input_tax t ON a.account = account_of(:account_tax, 0, 0) AND t.business_date = a.business_date
    UNION ALL
    SELECT business_date, account_of(:account_tax, 0, 0), amount, true FROM input_tax),
coded AS (
    SELECT m.*, coalesce(own.code, kind.code) AS code, coalesce(own.name, kind.name) AS name
      FROM moved m
      LEFT JOIN chart own ON own.account = m.account AND m.business_date >= own.since AND m.business_date < own.until
      LEFT JOIN chart kind ON kind.account = account_of(account_kind_of(m.account), 0, 0)
                          AND m.business_date >= kind.since AND m.business_date < kind.until
     WHERE m.amount <> 0),
line AS (
    SELECT business_date, 1 AS part, 'account' AS line, code, name, account, on_handling, amount, 1::bigint AS accounts, NULL::bigint AS without
      FROM coded WHERE $4::integer IS DISTINCT FROM 2 OR code IS NULL
    UNION ALL
    SELECT business_date, 0, 'code', code, min(name), CASE WHEN count(*) = 1 THEN min(account) END, bool_and(on_handling), sum(amount),
           count(*), NULL
      FROM coded WHERE $4::integer = 2 AND code IS NOT NULL GROUP BY business_date, code, amount > 0
    UNION ALL
    SELECT business_date, 2, 'total', NULL, NULL, NULL, false, sum(greatest(amount, 0)), count(*), count(*) FILTER (WHERE code IS NULL)
      FROM coded WHERE $5::integer IS DISTINCT FROM 2 GROUP BY business_date),
credit AS ( -- of the totals, which are the same on both sides if the day balances
    SELECT business_date, sum(greatest(-amount, 0)) AS amount FROM coded GROUP BY business_date)
SELECT s.code, line.business_date, s.currency, line.code, line.name, line.line, said.account,
       CASE WHEN line.amount > 0 OR line.part = 2 THEN amount_text(line.amount, s.decimals) END,
       CASE WHEN line.part = 2 THEN amount_text(credit.amount, s.decimals)
            WHEN line.amount < 0 THEN amount_text(-line.amount, s.decimals) END,
       concat_ws(' ', s.code, line.business_date,
                 CASE WHEN line.part = 2 THEN 'total' WHEN line.on_handling THEN 'tax on handling fees'
                      ELSE coalesce(said.account, line.name) END),
       line.accounts, line.without, day.first_entry, day.last_entry, closed.business_date
  FROM line
  JOIN credit USING (business_date)
  JOIN business_day day ON day.scheme = $1::integer AND day.business_date = line.business_date
  LEFT JOIN settlement closed ON closed.scheme = $1::integer AND closed.business_date = line.business_date
 CROSS JOIN LATERAL (SELECT account_name(line.account) AS account) AS said
 CROSS JOIN of_scheme s
 ORDER BY line.business_date, line.part, CASE WHEN line.part = 0 THEN line.code END COLLATE "C", line.account, line.amount < 0, line.on_handling
