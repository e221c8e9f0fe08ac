-- The activity of sites in each day, and the movements of their clearing from opening to closing. $1 scheme,
-- $2 first and $3 last business day, $4 site (null: all), $5 the sites to show (null: all).
SELECT t.business_date, s.code, t.issued, t.returned, amount_text(opening, decimals), amount_text(collected, decimals),
       amount_text(refunded, decimals), amount_text(fees, decimals), amount_text(tax, decimals), amount_text(stock, decimals),
       amount_text(other, decimals), amount_text(settled, decimals), amount_text(closing, decimals),
       format('site_clearing(%s)', s.code), closed.business_date
  FROM scheme,
       site_statement($1::integer,
                      ARRAY(SELECT id FROM site WHERE scheme = $1::integer AND ($4::integer IS NULL OR id = $4)
                                                  AND ($5::integer[] IS NULL OR id = ANY ($5))),
                      $2::date, $3::date) AS t
  JOIN site s ON s.id = t.site
  LEFT JOIN settlement closed ON closed.scheme = $1::integer AND closed.business_date = t.business_date
 WHERE scheme.id = $1::integer
 ORDER BY s.code COLLATE "C", t.business_date
