-- All cup types, in the order of their codes.
SELECT id, code, name FROM cup_type ORDER BY code COLLATE "C"
