-- The sites that keys name, by key and site.
SELECT api_key, site FROM api_key_site ORDER BY api_key, site
