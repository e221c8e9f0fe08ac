-- Adds to what sites $2 of the schemes $1 did in days $3.
INSERT INTO site_day AS d (scheme, site, business_date, issued, returned, collected, refunded, stock, other, fees, tax)
SELECT a.*
  FROM unnest($1::integer[], $2::integer[], $3::date[], $4::bigint[], $5::bigint[], $6::bigint[], $7::bigint[],
              $8::bigint[], $9::bigint[], $10::bigint[], $11::bigint[]) AS a
    ON CONFLICT (scheme, business_date, site) DO UPDATE
   SET issued = d.issued + excluded.issued, returned = d.returned + excluded.returned,
       collected = d.collected + excluded.collected, refunded = d.refunded + excluded.refunded,
       stock = d.stock + excluded.stock, other = d.other + excluded.other,
       fees = d.fees + excluded.fees, tax = d.tax + excluded.tax
