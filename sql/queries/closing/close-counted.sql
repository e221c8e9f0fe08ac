-- The cups that sites of scheme $1 are charged for on day $2, of any type: cups that the sites issued and took back, by
-- the fees of the day; and, negative, cups of an earlier day that the day's reversals took back, by the fees of that
-- earlier day. In the order of sites, the day's own first.
WITH reversed AS (
    SELECT site, original_date, issued, returned FROM reversed_day WHERE scheme = $1::integer AND business_date = $2::date),
own AS (
    SELECT site, sum(issued)::bigint AS issued, sum(returned)::bigint AS returned
      FROM (SELECT site, issued, returned FROM site_day WHERE scheme = $1::integer AND business_date = $2::date
            UNION ALL
            SELECT site, issued, returned FROM reversed) AS part
     GROUP BY site)
SELECT site, $2::date, 0, issued, returned FROM own WHERE issued <> 0 OR returned <> 0
UNION ALL
SELECT site, original_date, 0, -issued, -returned FROM reversed
 ORDER BY 1, 2 DESC
