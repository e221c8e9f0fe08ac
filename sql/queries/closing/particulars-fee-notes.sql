-- The fee notes that the close of day $2 of scheme $1 issued, with their lines.
SELECT string_agg(said, E'\n' ORDER BY number, position)
  FROM (SELECT number, 0 AS position, json_build_array(number, participant, operator_name, name, tax_registered)::text AS said
          FROM fee_note WHERE scheme = $1::integer AND business_date = $2::date
        UNION ALL
        SELECT number, position, json_build_array(number, position, fee, tax_rate_ppm, amount, tax)::text
          FROM fee_note_line WHERE scheme = $1::integer AND business_date = $2::date) AS row
