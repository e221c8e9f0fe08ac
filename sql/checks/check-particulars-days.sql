-- The days of scheme $1 that are sealed or whose particulars are kept, in order: the seal (null: none), the particulars (null: not
-- kept), and the entries among which those of the day are.
SELECT business_date, t.seal, p.previous, p.parts, p.digest, coalesce(d.first_entry, 1), coalesce(d.last_entry, 0)
  FROM (SELECT business_date, seal FROM settlement WHERE scheme = $1::integer) t
  FULL JOIN (SELECT business_date, previous, parts, digest FROM particulars WHERE scheme = $1::integer) p USING (business_date)
  LEFT JOIN (SELECT business_date, first_entry, last_entry FROM business_day WHERE scheme = $1::integer) d USING (business_date)
 ORDER BY business_date
