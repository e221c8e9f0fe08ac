-- Each cup type of each site of scheme $1 that has sound cups there now, has a stated par stock, is awaited there or
-- promised from there, or was issued or returned in the business days $2 through $3: the stock, the par stock, the cups
-- that are on their way there or asked for (awaited), the cups that are asked for from there and not sent yet
-- (promised), and the days (from 0) with the cups issued and returned. Requests count at their receiver if they are
-- wanted by day $4, and dispatches if nothing of them has come. On the day after $3, those older than a week count no
-- more: somebody has to withdraw such a request, and to find the cups of such a dispatch. $4 null: no shipment is read,
-- and nothing is awaited or promised. By site, then cup type.
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
     WHERE s.scheme = $1::integer),
asked AS ( -- requested and not sent yet
    SELECT r.sender, r.receiver, r.wanted_on, l.cup_type,
           l.cups - (SELECT coalesce(sum(s.sent), 0) FROM shipment_sent s
                      WHERE s.scheme = r.scheme AND s.number = r.number AND s.cup_type = l.cup_type AND NOT s.damaged) AS cups
      FROM shipment_listed d
      JOIN shipment_request r ON r.scheme = d.scheme AND r.number = d.number
      JOIN shipment_line l ON l.scheme = d.scheme AND l.number = d.number AND NOT l.damaged
     WHERE $4::date IS NOT NULL AND d.scheme = $1::integer AND d.site = 0 AND d.list = 'sender'
       AND r.wanted_on > $3::date - 7),
awaited AS (
    SELECT coming.site, coming.cup_type, sum(coming.cups)::bigint AS cups
      FROM (SELECT a.receiver AS site, a.cup_type, a.cups FROM asked a WHERE a.cups > 0 AND a.wanted_on <= $4::date
            UNION ALL
            SELECT t.receiver, t.cup_type, t.sent FROM transfer t
             WHERE $4::date IS NOT NULL AND t.scheme = $1::integer AND t.sent <> t.received + t.lost AND t.sent > 0
               AND NOT t.damaged AND t.business_date > $3::date - 7
               AND t.dispatch >= (SELECT min(d.first_entry) FROM business_day d -- so that older ones are not read
                                   WHERE d.scheme = $1::integer AND d.business_date > $3::date - 7)
               AND (SELECT max(o.received + o.lost) FROM transfer o -- a probe for each, and no join with all
                     WHERE o.scheme = t.scheme AND o.dispatch = t.dispatch) = 0) AS coming
      JOIN site s ON s.id = coming.site AND s.scheme = $1::integer -- others go home
     GROUP BY 1, 2),
promised AS (
    SELECT a.sender AS site, a.cup_type, sum(a.cups)::bigint AS cups FROM asked a WHERE a.cups > 0 GROUP BY 1, 2)
SELECT site, cup_type, coalesce(stock.amount, 0)::bigint, stated.par, coalesce(awaited.cups, 0), coalesce(promised.cups, 0),
       flow.days, flow.issued, flow.returned
  FROM flow FULL JOIN stock USING (site, cup_type) FULL JOIN stated USING (site, cup_type)
  FULL JOIN awaited USING (site, cup_type) FULL JOIN promised USING (site, cup_type)
 ORDER BY site, cup_type
