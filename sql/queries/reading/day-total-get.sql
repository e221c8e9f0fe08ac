-- The stated totals of day $3 of site $2 of scheme $1, as JSON: the last, and a hundred before it.
WITH stated AS (
    SELECT t.position, max(t.position) OVER () - t.position AS age,
           json_build_object('issued', t.issued, 'returned', t.returned, 'collected', amount_text(t.collected, decimals),
                             'refunded', amount_text(t.refunded, decimals), 'stated_at', instant_text(t.stated_at),
                             'stated_by', k.name) AS figures
      FROM day_total t JOIN scheme ON scheme.id = t.scheme JOIN api_key k ON k.id = t.api_key
     WHERE t.scheme = $1::integer AND t.site = $2::integer AND t.business_date = $3::date)
SELECT jsonb_build_object('site', code, 'date', $3::date) || figures::jsonb
       || jsonb_build_object('before', (SELECT coalesce(jsonb_agg(figures ORDER BY position), '[]') FROM stated WHERE age BETWEEN 1 AND 100))
  FROM stated, site WHERE age = 0 AND site.id = $2
