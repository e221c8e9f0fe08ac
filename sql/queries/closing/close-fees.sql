-- The lines of the fees of day $2 of scheme $1.
INSERT INTO fee_line (scheme, business_date, site, fee, terms_date, fee_row, tax_rate_ppm, quantity, each)
SELECT $1::integer, $2::date, l.*
  FROM unnest($3::integer[], $4::text[], $5::date[], $6::integer[], $7::integer[], $8::bigint[], $9::bigint[]) AS l
