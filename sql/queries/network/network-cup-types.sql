-- All cup types, in the order of their codes.
SELECT id, code FROM cup_type ORDER BY code COLLATE "C"
