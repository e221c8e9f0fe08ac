-- The movements of the batches of scheme $1 after entry $2, in order; days as numbers from 1970-01-01.
SELECT after_entry, last_entry, accounts, ARRAY(SELECT day - date '1970-01-01' FROM unnest(days) WITH ORDINALITY AS d(day, place) ORDER BY place),
       amounts, sites, ARRAY(SELECT day - date '1970-01-01' FROM unnest(site_days) WITH ORDINALITY AS d(day, place) ORDER BY place),
       issued, returned, collected, refunded, stock, other
  FROM recent_movement
 WHERE scheme = $1::integer AND last_entry > $2::bigint
 ORDER BY last_entry
