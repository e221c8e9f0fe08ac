-- The cups of dispatch entry $2 of scheme $1, sent, received and lost.
SELECT cup_type, damaged, sent, received, lost, sender, receiver, business_date, home
  FROM transfer WHERE scheme = $1::integer AND dispatch = $2::bigint ORDER BY cup_type, damaged
