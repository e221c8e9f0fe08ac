-- The open proposal of $1 $2 that asks for just $3.
SELECT p.number FROM proposal p
 WHERE p.what = $1::text AND p.name = $2::text AND p.body = $3::text
   AND NOT EXISTS (SELECT FROM proposal_decision d WHERE d.proposal = p.number)
 ORDER BY p.number LIMIT 1
