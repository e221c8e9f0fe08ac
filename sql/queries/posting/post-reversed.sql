-- Adds to what reversals of days $2 of the schemes $1 took back, at sites $3, of days $4: $5 cups issued and $6
-- returned.
INSERT INTO reversed_day AS d (scheme, business_date, site, original_date, issued, returned)
SELECT r.scheme, r.business_date, r.site, r.original_date, sum(r.issued), sum(r.returned)
  FROM unnest($1::integer[], $2::date[], $3::integer[], $4::date[], $5::bigint[], $6::bigint[])
       AS r(scheme, business_date, site, original_date, issued, returned)
 GROUP BY r.scheme, r.business_date, r.site, r.original_date
    ON CONFLICT (scheme, business_date, site, original_date) DO UPDATE
   SET issued = d.issued + excluded.issued, returned = d.returned + excluded.returned
