-- Sets the number of the last entry of scheme $1.
UPDATE scheme_head SET last_entry = $2::bigint WHERE scheme = $1::integer
