-- File $1, as JSON and as it is.
SELECT f.shown, p.content, encode(p.sha256, 'hex')
  FROM payment_file p JOIN payment_file_shown f USING (scheme, file_id)
 WHERE p.file_id = $1::uuid LIMIT 1
