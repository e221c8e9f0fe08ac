-- The lines of the fees of day $2 of scheme $1.
SELECT string_agg(json_build_array(site, fee, terms_date, fee_row, tax_rate_ppm, quantity, each)::text, E'\n'
                  ORDER BY site, fee COLLATE "C", terms_date, fee_row, tax_rate_ppm)
  FROM fee_line WHERE scheme = $1::integer AND business_date = $2::date
