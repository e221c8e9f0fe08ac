-- Income and expenses of a period, and of the one before: each account of such a class, the sum of each section, and
-- the operator's surplus. $1 scheme, $2 first and $3 last business day. The previous period is the month before if the
-- period is a whole month of the calendar, else as many days as the period has. Its figures are empty if the books
-- begin later. A gain is positive. The differences between refund values and till amounts are a section of their own.
WITH of_scheme AS (
    SELECT currency, decimals, (SELECT min(d.business_date) FROM business_day d WHERE d.scheme = $1::integer) AS begins
      FROM scheme WHERE id = $1::integer),
span AS (
    SELECT $2::date AS first, greatest($3::date, $2::date - 1) AS last,
           $2::date - CASE WHEN extract(day FROM $2::date) = 1 AND $3::date = ($2::date + interval '1 month')::date - 1
                           THEN least($2::date - date '1970-01-01', $2::date - ($2::date - interval '1 month')::date)
                           ELSE greatest(least($3::date - $2::date + 1, $2::date - date '1970-01-01'), 0) END AS before),
chart AS MATERIALIZED (
    SELECT account, code, name FROM office_codes($1::integer) WHERE $3::date >= since AND $3::date < until),
moved AS (
    SELECT k.kind, k.word, CASE k.class WHEN 'income' THEN 1 WHEN 'expense' THEN 2 ELSE 3 END AS section,
           stood.at_first - stood.at_last AS amount, CASE WHEN begins < first THEN stood.at_before - stood.at_first END AS previous
      FROM account_kind k CROSS JOIN span CROSS JOIN of_scheme
     CROSS JOIN LATERAL (
           SELECT balance_through($1::integer, a.account, before - 1) AS at_before,
                  balance_through($1::integer, a.account, first - 1) AS at_first,
                  balance_through($1::integer, a.account, last) AS at_last
             FROM (SELECT account_of(k.kind, 0, 0) AS account) AS a
           OFFSET 0) AS stood
     WHERE k.class IN ('income', 'expense', 'variance')),
line AS (
    SELECT section, 0 AS part, kind, word AS account, amount::numeric, previous::numeric FROM moved
    UNION ALL
    SELECT section, 1, 0, 'total', sum(amount), sum(previous) FROM moved WHERE section < 3 GROUP BY section
    UNION ALL
    SELECT 4, 1, 0, 'total', sum(amount), sum(previous) FROM moved)
SELECT CASE section WHEN 1 THEN 'income' WHEN 2 THEN 'expenses' WHEN 3 THEN 'variance'
                    ELSE CASE WHEN amount < 0 THEN 'shortfall' ELSE 'surplus' END END,
       line.account, amount_text(amount, decimals), amount_text(previous, decimals),
       CASE WHEN previous IS NOT NULL THEN before END, CASE WHEN previous IS NOT NULL THEN first - 1 END, chart.code, chart.name
  FROM line CROSS JOIN span CROSS JOIN of_scheme
  LEFT JOIN chart ON line.kind > 0 AND chart.account = account_of(line.kind, 0, 0)
 ORDER BY section, part, line.kind
