-- All sites, in the order of their codes.
SELECT id, code, name, scheme, participant, kind, opened_on, closed_on
  FROM site ORDER BY code COLLATE "C"
