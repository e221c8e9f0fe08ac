-- Issues the fee notes of the month of scheme $1 that ends with day $2. Their numbers follow on those of before: the
-- caller holds the head row, so nobody else issues any.
WITH line AS MATERIALIZED (SELECT * FROM fee_note_lines($1::integer, $2::date)),
noted AS (
    INSERT INTO fee_note (scheme, number, business_date, participant, operator_name, name, tax_registered)
    SELECT $1::integer, last.number + row_number() OVER (ORDER BY p.code COLLATE "C"), $2::date, p.id, c.operator ->> 'name', p.name,
           tax_registered_on(p.id, $2::date)
      FROM (SELECT DISTINCT participant FROM line) AS own
      JOIN participant p ON p.id = own.participant
      JOIN scheme c ON c.id = $1::integer
     CROSS JOIN (SELECT coalesce(max(number), 0) AS number FROM fee_note WHERE scheme = $1::integer) AS last
    RETURNING number, participant)
INSERT INTO fee_note_line (scheme, number, position, business_date, fee, tax_rate_ppm, amount, tax)
SELECT $1::integer, noted.number,
       row_number() OVER (PARTITION BY noted.number ORDER BY array_position(ARRAY['service', 'standing', 'handling'], line.fee),
                                                             line.tax_rate_ppm DESC NULLS LAST),
       $2::date, line.fee, line.tax_rate_ppm, line.amount, line.tax
  FROM line JOIN noted USING (participant)
