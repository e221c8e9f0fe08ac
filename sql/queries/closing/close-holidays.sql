-- The holidays of scheme $1 after day $2.
SELECT h FROM scheme s, unnest(s.holidays) h WHERE s.id = $1::integer AND h > $2::date ORDER BY h
