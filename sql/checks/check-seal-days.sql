-- What was sealed, and the Merkle frontier that each day carries. $1 scheme.
SELECT d.business_date, d.frontier, s.entries, s.root, s.previous, s.seal
  FROM business_day d LEFT JOIN settlement s USING (scheme, business_date)
 WHERE d.scheme = $1::integer
 ORDER BY d.business_date
