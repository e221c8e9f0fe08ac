-- Check: the lists of open things, and the counts of payments by day, follow from the rows that they are made
-- from. $1 scheme.
WITH opened AS (
    SELECT x.entry, x.position FROM exception x
     WHERE x.scheme = $1::integer
       AND NOT EXISTS (SELECT FROM exception_resolution z WHERE z.scheme = x.scheme AND z.entry = x.entry AND z.position = x.position)),
opened_lines AS (SELECT line, statement FROM bank_line_shown WHERE scheme = $1::integer AND open),
counted AS (
    SELECT business_date, participant, count(*) AS payments, sum(amount) AS paid FROM payment_side WHERE scheme = $1::integer GROUP BY 1, 2),
examined AS (
    SELECT format('exception %s.%s is open, or listed as open, but not both', entry, position) AS what,
           o.entry IS NULL OR l.entry IS NULL AS is_broken
      FROM (SELECT entry, position FROM exception_open WHERE scheme = $1::integer) l FULL JOIN opened o USING (entry, position)
    UNION ALL
    SELECT format('bank line %s is open, or listed as open, but not both', line),
           o.line IS NULL OR l.line IS NULL OR o.statement <> l.statement
      FROM (SELECT line, statement FROM bank_line_open WHERE scheme = $1::integer) l FULL JOIN opened_lines o USING (line)
    UNION ALL
    SELECT format('payments of %s are not counted as they are', business_date),
           (c.payments, c.paid) IS DISTINCT FROM (d.payments, d.paid::numeric)
      FROM (SELECT business_date, participant, payments, paid FROM payment_day WHERE scheme = $1::integer) d
      FULL JOIN counted c USING (business_date, participant))
SELECT count(*), count(*) FILTER (WHERE is_broken), first_lines(array_agg(what ORDER BY what) FILTER (WHERE is_broken)) FROM examined
