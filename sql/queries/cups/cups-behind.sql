-- The schemes that have entries which were not looked at for cups: after which entry, and through which at most $1
-- more. Schemes take turns: those after scheme $2 come first. A receipt of cups that another scheme sent home is looked
-- at after their dispatch, which it may bring the names of. Each dispatch was recorded before its receipt, so no two
-- schemes ever wait for each other.
SELECT h.scheme, here.entry, upto.entry
  FROM scheme_head h
  LEFT JOIN sighting_place p ON p.scheme = h.scheme
 CROSS JOIN LATERAL (SELECT coalesce(p.entry, 0) AS entry) AS here
 CROSS JOIN LATERAL (
       SELECT least(h.last_entry, here.entry + $1::bigint,
                    (SELECT min(f.entry) - 1 FROM host_dispatch f LEFT JOIN sighting_place k ON k.scheme = f.host
                      WHERE f.scheme = h.scheme AND f.entry > here.entry AND f.dispatch > coalesce(k.entry, 0))) AS entry) AS upto
 WHERE upto.entry > here.entry
 ORDER BY h.scheme <= $2::integer, h.scheme
