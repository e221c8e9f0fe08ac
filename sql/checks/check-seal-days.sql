-- The sealed hashes, and the Merkle frontier that each day carries. $1 scheme. Dates that the service can't
-- have written are left to days_match.
SELECT d.business_date, d.frontier, s.entries, s.root, s.previous, s.seal
  FROM business_day d LEFT JOIN settlement s USING (scheme, business_date)
 WHERE d.scheme = $1::integer AND d.business_date BETWEEN '1970-01-01' AND '9999-12-31'
 ORDER BY d.business_date
