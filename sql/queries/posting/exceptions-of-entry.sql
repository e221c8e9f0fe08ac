-- The exceptions of entry $2 of scheme $1.
SELECT kind, cup_type, quantity, amount FROM exception
 WHERE scheme = $1::integer AND entry = $2::bigint ORDER BY position
