-- A slice of scheme $1's bank statements, each as JSON, with its number: after $2, at most $3.
SELECT json_build_object(
           'statement', t.statement_id, 'account', t.account, 'received_at', instant_text(d.received_at), 'received_from', k.name,
           'balances', t.balances,
           'lines', (SELECT count(*) FROM bank_line l WHERE l.scheme = $1::integer AND l.statement = t.statement),
           'open', (SELECT count(*) FROM bank_line_open o WHERE o.scheme = $1::integer AND o.statement = t.statement)),
       t.statement
  FROM bank_statement t
  JOIN bank_document d ON (d.scheme, d.document) = (t.scheme, t.document)
  JOIN api_key k ON k.id = d.api_key
 WHERE t.scheme = $1::integer AND t.statement > $2::bigint
 ORDER BY t.statement LIMIT $3::integer
