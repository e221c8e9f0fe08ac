-- The activity of the sites of scheme $1 on day $2.
SELECT string_agg(json_build_array(site, issued, returned, collected, refunded, stock, other, fees, tax)::text, E'\n' ORDER BY site)
  FROM site_day WHERE scheme = $1::integer AND business_date = $2::date
