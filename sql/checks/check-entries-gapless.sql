-- Check: entries are numbered from 1 without a gap to the number in the scheme's head, and each day's
-- counters are those of its entries. $1 scheme.
WITH numbered AS (
    SELECT entry, lag(entry, 1, 0::bigint) OVER (ORDER BY entry) AS before FROM entry WHERE scheme = $1::integer),
counted AS (
    SELECT business_date, count(*) AS entries, count(event) AS events, count(*) FILTER (WHERE late) AS late_events,
           min(entry) AS first_entry, max(entry) AS last_entry
      FROM entry WHERE scheme = $1::integer GROUP BY 1),
examined AS (
    SELECT entry AS at, 'there is a gap before entry ' || entry AS what, entry <> before + 1 AS is_broken FROM numbered
    UNION ALL
    SELECT 0, 'the head does not say which entry is the last',
           last_entry <> (SELECT coalesce(max(entry), 0) FROM numbered)
      FROM scheme_head WHERE scheme = $1::integer
    UNION ALL
    SELECT 0, format('the counters of %s are not those of its entries', business_date),
           (coalesce(d.entries, 0), coalesce(d.events, 0), coalesce(d.late_events, 0), d.first_entry, d.last_entry)
           IS DISTINCT FROM (coalesce(c.entries, 0), coalesce(c.events, 0), coalesce(c.late_events, 0), c.first_entry, c.last_entry)
      FROM (SELECT * FROM business_day WHERE scheme = $1::integer) d FULL JOIN counted c USING (business_date))
SELECT count(*), count(*) FILTER (WHERE is_broken),
       first_lines(array_agg(what ORDER BY at, what) FILTER (WHERE is_broken))
  FROM examined
