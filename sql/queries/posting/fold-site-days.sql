-- Adds the recent activity of the sites of the schemes $1 to their days.
INSERT INTO site_day AS d (scheme, site, business_date, issued, returned, collected, refunded, stock, other)
SELECT scheme, site, business_date, sum(issued)::bigint, sum(returned)::bigint, sum(collected)::bigint,
       sum(refunded)::bigint, sum(stock)::bigint, sum(other)::bigint
  FROM recent_site_day WHERE scheme = ANY ($1::integer[])
 GROUP BY scheme, site, business_date
    ON CONFLICT (scheme, business_date, site) DO UPDATE
   SET issued = d.issued + excluded.issued, returned = d.returned + excluded.returned,
       collected = d.collected + excluded.collected, refunded = d.refunded + excluded.refunded,
       stock = d.stock + excluded.stock, other = d.other + excluded.other
