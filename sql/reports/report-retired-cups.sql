-- The cups that were retired at each site, and those of them that no batch has taken to a re-maker. $1 scheme, $2 site
-- (null: all).
SELECT s.code, c.code, r.retired, r.batched, r.retired - r.batched
  FROM site s
 CROSS JOIN LATERAL retired_cups($1::integer, s.id) AS r
  JOIN cup_type c ON c.id = r.cup_type
 WHERE s.scheme = $1::integer AND ($2::integer IS NULL OR s.id = $2) AND (r.retired <> 0 OR r.batched <> 0)
 ORDER BY s.code COLLATE "C", c.code COLLATE "C"
