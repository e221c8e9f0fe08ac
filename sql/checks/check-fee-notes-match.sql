-- Check: each closed month has a fee note for each participant with fees, numbered without gaps, which says what the
-- lines of its fees come to, and whose sums are those that the entries of the closes have. $1 scheme. Months whose last
-- day was closed by a version that issued none have none.
WITH month AS (
    SELECT business_date AS last, date_trunc('month', business_date)::date AS first
      FROM settlement
     WHERE scheme = $1::integer AND extract(day FROM business_date + 1) = 1
       AND business_date > coalesce((SELECT through FROM older_fee_notes WHERE scheme = $1::integer), '-infinity')),
wanted AS MATERIALIZED (
    SELECT month.last, l.*, row_number() OVER (PARTITION BY month.last, l.participant
                                               ORDER BY array_position(ARRAY['service', 'standing', 'handling'], l.fee),
                                                        l.tax_rate_ppm DESC NULLS LAST) AS position
      FROM month CROSS JOIN LATERAL fee_note_lines($1::integer, month.last) AS l),
numbered AS (
    SELECT own.*, row_number() OVER (ORDER BY own.last, p.code COLLATE "C") AS number
      FROM (SELECT DISTINCT last, participant FROM wanted) AS own JOIN participant p ON p.id = own.participant),
note AS MATERIALIZED (SELECT * FROM fee_note WHERE scheme = $1::integer),
line AS MATERIALIZED (SELECT * FROM fee_note_line WHERE scheme = $1::integer),
summed AS (
    SELECT number, coalesce(sum(amount) FILTER (WHERE fee <> 'handling'), 0) AS service_fee,
           coalesce(sum(tax) FILTER (WHERE fee <> 'handling'), 0) AS service_tax,
           coalesce(sum(amount) FILTER (WHERE fee = 'handling'), 0) AS handling_fee,
           coalesce(sum(tax) FILTER (WHERE fee = 'handling'), 0) AS handling_tax
      FROM line GROUP BY number),
posted AS (
    SELECT month.last, s.participant, sum(f.service_fee) AS service_fee, sum(f.service_tax) AS service_tax,
           -sum(f.handling_fee) AS handling_fee, -sum(f.handling_tax) AS handling_tax
      FROM month CROSS JOIN LATERAL fee_days($1::integer, month.first, month.last) AS f JOIN site s ON s.id = f.site
     GROUP BY 1, 2),
examined AS (
    SELECT coalesce(n.number, w.number) AS number, 'fee note %s is not the next one of its month' AS what,
           (n.business_date, n.participant) IS DISTINCT FROM (w.last, w.participant) AS is_broken
      FROM note n FULL JOIN numbered w USING (number)
    UNION ALL
    SELECT coalesce(l.number, w.number), 'a line of fee note %s is not what the fees come to',
           (l.business_date, l.fee, l.tax_rate_ppm, l.amount, l.tax) IS DISTINCT FROM (w.last, w.fee, w.tax_rate_ppm, w.amount, w.tax)
      FROM line l
      FULL JOIN (SELECT n.number, w.* FROM wanted w JOIN numbered n USING (last, participant)) w USING (number, position)
    UNION ALL
    SELECT n.number, 'fee note %s does not sum to the entries of the closes',
           (coalesce(s.service_fee, 0), coalesce(s.service_tax, 0), coalesce(s.handling_fee, 0), coalesce(s.handling_tax, 0))
           IS DISTINCT FROM
           (coalesce(p.service_fee, 0), coalesce(p.service_tax, 0), coalesce(p.handling_fee, 0), coalesce(p.handling_tax, 0))
      FROM note n
      LEFT JOIN summed s USING (number)
      LEFT JOIN posted p ON p.last = n.business_date AND p.participant = n.participant)
SELECT count(*), count(*) FILTER (WHERE is_broken),
       first_lines(array_agg(format(what, number) ORDER BY number, what) FILTER (WHERE is_broken))
  FROM examined
