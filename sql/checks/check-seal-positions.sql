-- The positions that a seal is over, in the order of the participants' codes. $1 scheme, $2 business day.
SELECT p.participant, p.amount, p.carried
  FROM position p LEFT JOIN participant c ON c.id = p.participant
 WHERE p.scheme = $1::integer AND p.business_date = $2::date
 ORDER BY c.code COLLATE "C"
