-- Line $2 of scheme $1: its amount, and whether somebody should look at it.
SELECT amount, open
  FROM bank_line JOIN bank_line_shown USING (scheme, line)
 WHERE scheme = $1::integer AND line = $2::bigint
