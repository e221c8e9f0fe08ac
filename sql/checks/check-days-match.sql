-- Check: business days follow each other without a gap, and are closed in order, each with a settlement; only of these
-- are particulars kept; and the cut of each stands after its entries, and before those of its close. $1 scheme.
WITH days AS (
    SELECT business_date, starts_at, ends_at, state, lag(business_date) OVER w AS day_before, lag(ends_at) OVER w AS end_before,
           lag(state) OVER w AS state_before
      FROM business_day WHERE scheme = $1::integer WINDOW w AS (ORDER BY business_date)),
cuts AS (
    SELECT business_date, d.state, c.after_entry, lag(c.after_entry) OVER (ORDER BY business_date) AS cut_before
      FROM days d FULL JOIN (SELECT * FROM day_cut WHERE scheme = $1::integer) c USING (business_date)),
numbered AS (
    SELECT business_date, max(entry) FILTER (WHERE kind NOT IN (:kind_fees, :kind_settle)) AS last_taken,
           min(entry) FILTER (WHERE kind IN (:kind_fees, :kind_settle)) AS first_of_close
      FROM entry WHERE scheme = $1::integer GROUP BY 1),
examined AS (
    SELECT business_date AS at, format('%s does not follow the day before', business_date) AS what,
           day_before <> business_date - 1 OR end_before <> starts_at OR state = 'closed' AND state_before <> 'closed' AS is_broken
      FROM days
    UNION ALL
    SELECT business_date, format('%s is not both closed and sealed', business_date),
           state IS DISTINCT FROM 'closed' OR s.seal IS NULL
      FROM (SELECT business_date, state FROM days WHERE state = 'closed') d
      FULL JOIN (SELECT business_date, seal FROM settlement WHERE scheme = $1::integer) s USING (business_date)
    UNION ALL
    SELECT business_date, format('the particulars of %s are of a day without a seal', business_date), s.seal IS NULL
      FROM particulars p LEFT JOIN settlement s USING (scheme, business_date) WHERE p.scheme = $1::integer
    UNION ALL
    SELECT business_date, format('the cut of %s does not stand where its entries end', business_date),
           (coalesce(state, 'open') <> 'open') <> (after_entry IS NOT NULL)
           OR state <> 'open' AND last_taken > after_entry OR first_of_close <= after_entry OR cut_before > after_entry
           OR after_entry > (SELECT last_entry FROM scheme_head WHERE scheme = $1::integer)
      FROM cuts LEFT JOIN numbered USING (business_date))
SELECT count(*), count(*) FILTER (WHERE is_broken),
       first_lines(array_agg(what ORDER BY at, what) FILTER (WHERE is_broken))
  FROM examined
