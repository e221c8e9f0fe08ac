-- Trial balance: every account that is not zero, with the day on which it last moved, and its code in the office's own
-- ledger on the business day; then the totals of each unit. $1 scheme, $2 business day, $3 first business day of a
-- period that ends with $2 (null: none). With a period each account also has its balance at the beginning and its net
-- movement, and accounts that became zero in the period are listed as well.
WITH of_scheme AS (SELECT currency, decimals FROM scheme WHERE id = $1::integer),
chart AS MATERIALIZED (
    SELECT account, code, name FROM office_codes($1::integer) WHERE $2::date >= since AND $2::date < until),
began AS (
    SELECT account, amount FROM balances_through($1::integer, least($3::date - 1, $2::date)) WHERE $3::date IS NOT NULL),
stands AS (
    SELECT b.account, coalesce(unit.code, currency) AS unit, unit.id IS NULL AS is_money, b.amount::numeric,
           coalesce(began.amount, 0)::numeric AS opening,
           k.word || coalesce('(' || nullif(concat_ws(',', s.code, p.code, account_schemes(b.account), c.code), '') || ')', '') AS name,
           greatest((SELECT max(m.business_date) FROM balance m
                      WHERE m.scheme = $1::integer AND m.account = b.account AND m.business_date <= $2), r.moved_on) AS moved_on
      FROM balances_through($1::integer, $2::date) AS b
     CROSS JOIN of_scheme
      LEFT JOIN began ON began.account = b.account
      JOIN account_kind k ON k.kind = account_kind_of(b.account)
      LEFT JOIN (SELECT account, max(business_date) AS moved_on FROM recent_balance
                  WHERE scheme = $1::integer AND business_date <= $2 GROUP BY 1) r ON r.account = b.account
      LEFT JOIN site s ON k.scope IN ('site', 'site_cup_type') AND s.id = account_owner(b.account)
      LEFT JOIN participant p ON k.scope = 'participant' AND p.id = account_owner(b.account)
      LEFT JOIN cup_type c ON c.id = nullif(account_cup_type(b.account), 0)
      LEFT JOIN cup_type unit ON unit.id = account_unit(b.account)
     WHERE b.amount <> 0 OR began.amount <> 0),
line AS (
    SELECT 0 AS part, account, name, unit, is_money, moved_on,
           ARRAY[greatest(amount, 0), greatest(-amount, 0), greatest(opening, 0), greatest(-opening, 0),
                 greatest(amount - opening, 0), greatest(opening - amount, 0)] AS sides
      FROM stands
    UNION ALL
    SELECT 1, 0, 'total', unit, is_money, NULL,
           ARRAY[sum(greatest(amount, 0)), sum(greatest(-amount, 0)), sum(greatest(opening, 0)), sum(greatest(-opening, 0)),
                 sum(greatest(amount - opening, 0)), sum(greatest(opening - amount, 0))]
      FROM stands GROUP BY unit, is_money)
SELECT line.name, unit, shown.side[1], shown.side[2], moved_on, coalesce(own.code, kind.code), coalesce(own.name, kind.name),
       shown.side[3], shown.side[4], shown.side[5], shown.side[6]
  FROM line
  LEFT JOIN chart own ON own.account = line.account
  LEFT JOIN chart kind ON kind.account = account_of(account_kind_of(line.account), 0, 0)
 CROSS JOIN of_scheme
 CROSS JOIN LATERAL (
       SELECT array_agg(CASE WHEN place > 2 AND $3::date IS NULL THEN NULL
                             WHEN is_money THEN amount_text(f.figure, decimals)
                             ELSE f.figure::text END ORDER BY place) AS side
         FROM unnest(line.sides) WITH ORDINALITY AS f(figure, place)) AS shown
 ORDER BY is_money DESC, unit COLLATE "C", part, line.account
