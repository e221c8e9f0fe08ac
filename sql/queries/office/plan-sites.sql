-- The sites of scheme $1 that have begun by business day $2, with their places, in the order of their ids. A site that
-- has ended before that day may still have cups.
SELECT s.id, s.latitude, s.longitude, coalesce(s.closed_on < $2::date, false)
  FROM site s
 WHERE s.scheme = $1::integer AND s.opened_on <= $2::date
 ORDER BY s.id
