-- Entries as they were recorded, in their order, and whether date and arrays are such as the service writes. $1 scheme,
-- after entry $2, through $3: a range, for a LIMIT over a young table may be planned to sort all that is left.
SELECT entry, business_date, kind, event, accounts, amounts, hash, leaf_is_sound(business_date, accounts, amounts),
       CASE WHEN entry IN (SELECT a.entry FROM agreed_amount a WHERE a.scheme = $1::integer AND a.entry > $2::bigint AND a.entry <= $3::bigint)
            THEN agreed_text(scheme, entry) END,
       CASE WHEN kind IN (:kind_return_abroad, :kind_reversal_abroad) THEN followed_text(scheme, entry) END
  FROM entry
 WHERE scheme = $1::integer AND entry > $2::bigint AND entry <= $3::bigint
 ORDER BY entry
