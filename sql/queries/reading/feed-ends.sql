-- How far the feeds of the schemes $1 (null: of all) go: the last entry, and the last cut, with the entry that it
-- stands after and its day (days since 1970); -1 twice: no day is cut yet.
SELECT h.scheme, h.last_entry, coalesce(c.after_entry, -1), coalesce(c.business_date - date '1970-01-01', -1)
  FROM scheme_head h
  LEFT JOIN LATERAL (SELECT d.after_entry, d.business_date FROM day_cut d WHERE d.scheme = h.scheme
                      ORDER BY d.after_entry DESC, d.business_date DESC LIMIT 1) c ON true
 WHERE $1::integer[] IS NULL OR h.scheme = ANY ($1::integer[])
 ORDER BY h.scheme
