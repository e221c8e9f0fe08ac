-- All sites, in the order of their codes.
SELECT id, code, scheme, participant, CASE kind WHEN 'cafe' THEN 0 WHEN 'return_point' THEN 1 ELSE 2 END,
       opened_on, closed_on
  FROM site ORDER BY code COLLATE "C"
