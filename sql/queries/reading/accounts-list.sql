-- A slice of the accounts ever touched with their balances, each as JSON, with its number. $1 scheme, after account $2,
-- at most $3, $4 the last business day to count (null: all), $5 the kind of account (null: all). The slice's accounts
-- are found by skipping through the key from $2 on. Codes of the office's own ledger are those of that day, or of
-- today.
WITH RECURSIVE folded AS (
    SELECT min(b.account) AS account, 1 AS place FROM balance b
     WHERE b.scheme = $1::integer AND b.account > greatest($2::bigint, account_of($5::integer, 0, 0) - 1)
       AND b.account < coalesce(account_of($5::integer + 1, 0, 0), 9223372036854775807)
    UNION ALL
    SELECT (SELECT min(b.account) FROM balance b WHERE b.scheme = $1::integer AND b.account > f.account
               AND b.account < coalesce(account_of($5::integer + 1, 0, 0), 9223372036854775807)), f.place + 1
      FROM folded f WHERE f.account IS NOT NULL AND f.place < $3::integer),
recent AS MATERIALIZED (
    SELECT account, sum(movement) FILTER (WHERE business_date <= coalesce($4::date, 'infinity')) AS movement FROM recent_balance
     WHERE scheme = $1::integer GROUP BY account),
slice AS (
    SELECT account FROM folded WHERE account IS NOT NULL UNION
    SELECT account FROM recent WHERE account > $2::bigint AND ($5::integer IS NULL OR account_kind_of(account) = $5)
     ORDER BY account LIMIT $3::integer),
chart AS MATERIALIZED (
    SELECT o.account, o.code, o.name
      FROM (SELECT coalesce($4::date, (SELECT business_date FROM business_day WHERE scheme = $1::integer AND starts_at <= now()
                                        ORDER BY business_date DESC LIMIT 1)) AS day) AS asked
     CROSS JOIN office_codes($1::integer) AS o
     WHERE asked.day >= o.since AND asked.day < o.until),
stands AS (
    SELECT slice.account, (coalesce(closed.closing, 0) + coalesce(since.movement, 0) + coalesce(recent.movement, 0))::bigint AS balance
      FROM slice
      LEFT JOIN recent ON recent.account = slice.account
      LEFT JOIN LATERAL (
           SELECT b.business_date, b.closing FROM balance b
            WHERE b.scheme = $1::integer AND b.account = slice.account AND b.business_date <= coalesce($4::date, 'infinity')
              AND b.closing IS NOT NULL
            ORDER BY b.business_date DESC LIMIT 1) closed ON true
      LEFT JOIN LATERAL (
           SELECT sum(b.movement) AS movement FROM balance b
            WHERE b.scheme = $1::integer AND b.account = slice.account AND b.business_date <= coalesce($4::date, 'infinity')
              AND b.business_date > coalesce(closed.business_date, '-infinity')) since ON true)
SELECT json_strip_nulls(json_build_object(
           'account', k.word || coalesce('(' || nullif(concat_ws(',', s.code, p.code, account_schemes(stands.account), c.code), '') || ')', ''),
           'unit', coalesce(unit.code, currency),
           'balance', CASE WHEN unit.id IS NULL THEN to_json(amount_text(balance, decimals)) ELSE to_json(balance) END,
           'code', coalesce(own.code, kind.code), 'name', coalesce(own.name, kind.name))),
       stands.account
  FROM stands
  JOIN scheme ON scheme.id = $1::integer
  JOIN account_kind k ON k.kind = account_kind_of(stands.account)
  LEFT JOIN site s ON k.scope IN ('site', 'site_cup_type') AND s.id = account_owner(stands.account)
  LEFT JOIN participant p ON k.scope = 'participant' AND p.id = account_owner(stands.account)
  LEFT JOIN cup_type c ON c.id = nullif(account_cup_type(stands.account), 0)
  LEFT JOIN cup_type unit ON unit.id = account_unit(stands.account)
  LEFT JOIN chart own ON own.account = stands.account
  LEFT JOIN chart kind ON kind.account = account_of(account_kind_of(stands.account), 0, 0)
 ORDER BY stands.account
