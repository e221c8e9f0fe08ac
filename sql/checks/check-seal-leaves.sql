-- Entries as they were recorded, in their order. $1 scheme, after entry $2, at most $3.
SELECT entry, business_date, kind, event, accounts, amounts, hash
  FROM entry
 WHERE scheme = $1::integer AND entry > $2::bigint
 ORDER BY entry LIMIT $3::integer
