-- The entry of home $1 that followed entry $3 of host $2.
SELECT e.entry, e.business_date, e.accounts, e.amounts
  FROM followed_entry f
  JOIN entry e ON e.scheme = f.scheme AND e.entry = f.entry
 WHERE f.scheme = $1::integer AND f.host = $2::integer AND f.host_entry = $3::bigint
