-- The open proposal of $1 $2 that asks for just $3.
SELECT p.number FROM proposal_listed l JOIN proposal p ON p.number = l.number
 WHERE l.scheme = 0 AND l.status = 'open' AND p.what = $1::text AND p.name = $2::text AND p.body = $3::text
 ORDER BY p.number LIMIT 1
