-- Line $2 of scheme $1 as JSON.
SELECT jsonb_strip_nulls(l.shown || jsonb_build_object('scheme', s.code, 'statement', t.statement_id, 'resolution', l.resolution))
  FROM bank_line_shown l
  JOIN scheme s ON s.id = l.scheme
  JOIN bank_statement t ON (t.scheme, t.statement) = (l.scheme, l.statement)
 WHERE l.scheme = $1::integer AND l.line = $2::bigint
