-- A slice of lines of scheme $1's bank statements, each as JSON, with its number: beyond $2, at most $3; $4: only those
-- that are open, or only those that are not (null: all); of statement $5 (null: of all). One of the parts reads
-- something, the others nothing.
WITH slice AS (
    (SELECT o.line FROM bank_line_open o
      WHERE $4::boolean AND $5::bigint IS NULL AND o.scheme = $1::integer AND o.line :beyond $2::bigint
      ORDER BY o.line :onward LIMIT $3::integer)
    UNION ALL
    (SELECT l.line FROM bank_line l
      WHERE $4::boolean IS NOT TRUE AND $5::bigint IS NULL AND l.scheme = $1::integer AND l.line :beyond $2::bigint
        AND ($4::boolean IS NULL
             OR NOT EXISTS (SELECT FROM bank_line_open o WHERE o.scheme = l.scheme AND o.line = l.line))
      ORDER BY l.line :onward LIMIT $3::integer)
    UNION ALL
    (SELECT l.line FROM bank_line l
      WHERE $5::bigint IS NOT NULL AND l.scheme = $1::integer AND l.statement = $5::bigint AND l.line :beyond $2::bigint
        AND ($4::boolean IS NULL
             OR $4::boolean = EXISTS (SELECT FROM bank_line_open o WHERE o.scheme = l.scheme AND o.line = l.line))
      ORDER BY l.line :onward LIMIT $3::integer))
SELECT jsonb_strip_nulls(l.shown || jsonb_build_object('scheme', s.code, 'statement', t.statement_id, 'resolution', l.resolution)),
       l.line
  FROM slice
  JOIN scheme s ON s.id = $1::integer
  JOIN bank_line_shown l ON l.scheme = $1::integer AND l.line = slice.line
  JOIN bank_statement t ON t.scheme = $1::integer AND t.statement = l.statement
 ORDER BY l.line :onward
