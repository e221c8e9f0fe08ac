-- The fees that closes charged sites, by row of the terms. $1 scheme, $2 first and $3 last business day, $4 site (null:
-- all), $5 participant (null: all), $6 fee (null: all; 1 service, 2 handling, 3 standing; with it a last line has the
-- sums), $7 the sites to show (null: all). Tax is rounded once per site, day and fee; it
-- stands in the first line of the fee, so that the column adds up. Lines of cups that were reversed are negative.
WITH shown AS MATERIALIZED (
    SELECT s.id, s.code, p.code AS participant FROM site s JOIN participant p ON p.id = s.participant
     WHERE s.scheme = $1::integer AND ($4::integer IS NULL OR s.id = $4) AND ($5::integer IS NULL OR s.participant = $5)
       AND ($7::integer[] IS NULL OR s.id = ANY ($7))),
line AS (
    SELECT l.business_date, s.participant, s.code, l.fee, l.terms_date, l.fee_row, l.quantity, l.each, l.tax_rate_ppm,
           l.quantity::numeric * l.each AS amount,
           row_number() OVER (fee ORDER BY l.terms_date DESC, l.fee_row, l.tax_rate_ppm DESC) AS place,
           round_half_even(sum(l.quantity::numeric * l.each * l.tax_rate_ppm) OVER (fee) * 0.000001) AS tax
      FROM settlement d CROSS JOIN shown s
     CROSS JOIN LATERAL (SELECT * FROM fee_line f WHERE f.scheme = $1::integer AND f.business_date = d.business_date AND f.site = s.id
                         OFFSET 0) AS l
     WHERE d.scheme = $1::integer AND d.business_date BETWEEN $2::date AND $3::date
       AND ($6::integer IS NULL OR l.fee = (ARRAY['service', 'handling', 'standing'])[$6])
    WINDOW fee AS (PARTITION BY l.business_date, l.site, l.fee)),
shown_line AS (
    SELECT false AS is_total, line.* FROM line
    UNION ALL
    SELECT true, NULL, NULL, NULL, 'total', NULL, NULL, sum(quantity)::bigint, NULL, NULL, sum(amount), 1, sum(tax) FILTER (WHERE place = 1)
      FROM line HAVING $6::integer IS NOT NULL)
SELECT line.business_date, line.participant, line.code, line.fee, line.terms_date, line.fee_row, line.quantity,
       amount_text(line.each, c.decimals), amount_text(line.amount, c.decimals), rate_text(line.tax_rate_ppm),
       CASE WHEN line.place = 1 THEN amount_text(line.tax, c.decimals) END
  FROM shown_line AS line CROSS JOIN scheme c
 WHERE c.id = $1::integer
 ORDER BY line.is_total, line.participant COLLATE "C", line.business_date, line.code COLLATE "C", line.fee COLLATE "C" DESC, line.place
