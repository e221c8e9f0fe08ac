-- A page of the accounts ever touched with their balances, each as JSON, with its number. $1 scheme, after account $2, at most $3, $4 the last business
-- day to count (null: all).
WITH page AS (SELECT account FROM accounts_of($1::integer) AS account WHERE account > $2::bigint ORDER BY account LIMIT $3::integer),
recent AS (
    SELECT account, sum(movement) AS movement FROM recent_balance
     WHERE scheme = $1::integer AND business_date <= coalesce($4::date, 'infinity') GROUP BY account),
stands AS (
    SELECT account, (folded_balance_through($1::integer, account, coalesce($4::date, 'infinity')) + coalesce(movement, 0))::bigint AS balance
      FROM page LEFT JOIN recent USING (account))
SELECT json_strip_nulls(json_build_object(
           'account', k.word || coalesce('(' || nullif(concat_ws(',', s.code, p.code, c.code), '') || ')', ''),
           'unit', coalesce(unit.code, currency),
           'balance', CASE WHEN unit.id IS NULL THEN to_json(amount_text(balance, decimals)) ELSE to_json(balance) END)),
       stands.account
  FROM stands
  JOIN scheme ON scheme.id = $1::integer
  JOIN account_kind k ON k.kind = account_kind_of(stands.account)
  LEFT JOIN site s ON k.scope IN ('site', 'site_cup_type') AND s.id = account_owner(stands.account)
  LEFT JOIN participant p ON k.scope = 'participant' AND p.id = account_owner(stands.account)
  LEFT JOIN cup_type c ON c.id = nullif(account_cup_type(stands.account), 0)
  LEFT JOIN cup_type unit ON unit.id = account_unit(stands.account)
 ORDER BY stands.account
