-- The first entry of scheme $1 after $2.
SELECT min(entry) FROM entry WHERE scheme = $1::integer AND entry > $2::bigint
