-- The message of the bank in which statement $2 of scheme $1 came, as it is.
SELECT d.content, encode(d.sha256, 'hex')
  FROM bank_statement t JOIN bank_document d ON (d.scheme, d.document) = (t.scheme, t.document)
 WHERE t.scheme = $1::integer AND t.statement = $2::bigint
