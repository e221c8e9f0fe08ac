-- A page of lines of scheme $1's bank statements, each as JSON, with its number: after $2, at most $3; $4: only those that are open,
-- or only those that are not (null: all).
SELECT jsonb_strip_nulls(l.shown || jsonb_build_object('statement', t.statement_id, 'resolution', l.resolution)), l.line
  FROM bank_line_shown l
  JOIN bank_statement t ON (t.scheme, t.statement) = (l.scheme, l.statement)
 WHERE l.scheme = $1::integer AND l.line > $2::bigint AND ($4::boolean IS NULL OR l.open = $4)
 ORDER BY l.line LIMIT $3::integer
