-- The schemes that have entries which were not looked at for cups: after which entry, and through which at most $1
-- more. Schemes take turns: those after scheme $2 come first.
SELECT h.scheme, coalesce(p.entry, 0), least(h.last_entry, coalesce(p.entry, 0) + $1::bigint)
  FROM scheme_head h LEFT JOIN sighting_place p ON p.scheme = h.scheme
 WHERE h.last_entry > coalesce(p.entry, 0)
 ORDER BY h.scheme <= $2::integer, h.scheme
