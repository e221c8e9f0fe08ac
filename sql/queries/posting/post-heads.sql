-- The heads of the schemes $1: the number of the last entry, the sum of all absolute amounts, and how many movements
-- are recent.
UPDATE scheme_head h SET last_entry = n.last_entry, gross = n.gross, unfolded = n.unfolded
  FROM unnest($1::integer[], $2::bigint[], $3::bigint[], $4::integer[]) AS n(scheme, last_entry, gross, unfolded)
 WHERE h.scheme = n.scheme
