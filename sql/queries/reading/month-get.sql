-- The month of scheme $1 that begins on $2, as JSON, with its figures: income, expenses and differences as the income
-- statement has them, and the tax that it moved. No row: the scheme has no business day in it.
WITH month AS (
    SELECT $2::date AS first, ($2::date + interval '1 month')::date - 1 AS last
     WHERE EXISTS (SELECT FROM business_day d
                    WHERE d.scheme = $1::integer AND d.business_date BETWEEN $2::date AND ($2::date + interval '1 month')::date - 1)),
moved AS (
    SELECT coalesce(sum(stood.amount) FILTER (WHERE k.class = 'income'), 0) AS income,
           coalesce(sum(stood.amount) FILTER (WHERE k.class = 'expense'), 0) AS expenses,
           coalesce(sum(stood.amount) FILTER (WHERE k.class = 'variance'), 0) AS variance,
           coalesce(sum(stood.amount) FILTER (WHERE k.kind = :account_tax), 0) AS tax
      FROM month CROSS JOIN account_kind k
     CROSS JOIN LATERAL (
           SELECT balance_through($1::integer, account_of(k.kind, 0, 0), month.first - 1)
                  - balance_through($1::integer, account_of(k.kind, 0, 0), month.last) AS amount
           OFFSET 0) AS stood
     WHERE k.class IN ('income', 'expense', 'variance') OR k.kind = :account_tax)
SELECT month_shown($1::integer, month.first)
       || jsonb_build_object('income', amount_text(income::bigint, s.decimals), 'expenses', amount_text(expenses::bigint, s.decimals),
                             'variance', amount_text(variance::bigint, s.decimals),
                             'surplus', amount_text((income + expenses + variance)::bigint, s.decimals),
                             'tax', amount_text(tax::bigint, s.decimals))
  FROM month CROSS JOIN moved JOIN scheme s ON s.id = $1::integer
