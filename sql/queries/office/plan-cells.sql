-- Each cup type of each site of scheme $1 that has sound cups there now, has a stated par stock, or was issued or
-- returned in the business days $2 through $3: the stock, the par stock, and the days (from 0) with the cups issued and
-- returned. By site, then cup type.
WITH flow AS (
    SELECT d.site, d.cup_type, array_agg(d.business_date - $2::date ORDER BY d.business_date) AS days,
           array_agg(d.issued ORDER BY d.business_date) AS issued, array_agg(d.returned ORDER BY d.business_date) AS returned
      FROM cup_days($1::integer, $2::date, $3::date) AS d
     WHERE d.site <> 0 AND (d.issued <> 0 OR d.returned <> 0)
     GROUP BY 1, 2),
stock AS (
    SELECT account_owner(b.account) AS site, account_cup_type(b.account) AS cup_type, b.amount
      FROM balances_between($1::integer, account_of(:account_site_stock, 0, 0), account_of(:account_site_stock + 1, 0, 0) - 1,
                            'infinity') AS b
     WHERE b.amount <> 0),
stated AS (
    SELECT s.id AS site, c.id AS cup_type, (p.value ->> 'quantity')::bigint AS par
      FROM site s CROSS JOIN LATERAL jsonb_array_elements(s.par_stock) AS p
      JOIN cup_type c ON c.code = p.value ->> 'cup_type'
     WHERE s.scheme = $1::integer)
SELECT site, cup_type, coalesce(stock.amount, 0)::bigint, stated.par, flow.days, flow.issued, flow.returned
  FROM flow FULL JOIN stock USING (site, cup_type) FULL JOIN stated USING (site, cup_type)
 ORDER BY site, cup_type
