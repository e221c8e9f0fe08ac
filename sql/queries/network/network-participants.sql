-- All participants, in the order of their codes.
SELECT id, code, name, tax_registered FROM participant ORDER BY code COLLATE "C"
