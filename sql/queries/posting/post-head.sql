-- The head of scheme $1: the number of its last entry, the sum of all absolute amounts, and how many
-- movements are recent.
UPDATE scheme_head SET last_entry = $2::bigint, gross = $3::bigint, unfolded = $4::integer WHERE scheme = $1::integer
