-- All dated kinds of sites, by site and date.
SELECT site, effective_date, kind FROM site_kind ORDER BY site, effective_date
