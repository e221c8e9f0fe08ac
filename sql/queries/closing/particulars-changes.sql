-- The last change of reference data and keys that the close of day $2 of scheme $1 found, with the digest that is over
-- it and all before it. No row: the day was closed before changes were kept.
SELECT json_build_array(t.last_change, encode(c.digest, 'hex'))::text
  FROM settlement t LEFT JOIN reference_change c ON c.number = t.last_change
 WHERE t.scheme = $1::integer AND t.business_date = $2::date AND t.last_change IS NOT NULL
