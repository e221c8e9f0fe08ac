-- Line $2 of scheme $1: its amount, whether somebody should look at it, and whether it is a stranger's: it names no
-- payment of ours.
SELECT l.amount, s.open, l.payment_id IS NULL
  FROM bank_line l JOIN bank_line_shown s USING (scheme, line)
 WHERE scheme = $1::integer AND line = $2::bigint
