-- Says at $4, by key $5, the totals $6 to $9 of day $3 of site $2 of scheme $1, unless they are equal to the
-- last ones.
INSERT INTO day_total (scheme, site, business_date, position, stated_at, api_key, issued, returned, collected, refunded)
SELECT $1::integer, $2::integer, $3::date, coalesce(last.position, 0) + 1, $4::timestamptz, $5::integer,
       $6::bigint, $7::bigint, $8::bigint, $9::bigint
  FROM (SELECT) AS one
  LEFT JOIN LATERAL (SELECT * FROM day_total t WHERE t.scheme = $1 AND t.site = $2 AND t.business_date = $3
                      ORDER BY t.position DESC LIMIT 1) AS last ON true
 WHERE (last.issued, last.returned, last.collected, last.refunded) IS DISTINCT FROM ($6, $7, $8, $9)
