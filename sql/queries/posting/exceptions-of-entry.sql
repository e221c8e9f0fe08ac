-- The exceptions of entry $2 of scheme $1 that were found when it was posted.
SELECT kind, cup_type, quantity, amount FROM exception
 WHERE scheme = $1::integer AND entry = $2::bigint AND position < 1000 ORDER BY position
