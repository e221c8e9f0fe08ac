-- Statement $2 of scheme $1 as JSON, with its first $3 lines and what became of each.
SELECT jsonb_strip_nulls(t.shown || jsonb_build_object(
           'previous', s.code || '.' || (
               SELECT p.statement FROM bank_statement p
                WHERE p.scheme = b.scheme AND p.account = b.account
                  AND (p.last_day, p.sequence, p.statement) < (b.last_day, b.sequence, b.statement)
                ORDER BY p.last_day DESC, p.sequence DESC, p.statement DESC LIMIT 1),
           'line_count', (SELECT count(*) FROM bank_line l WHERE l.scheme = t.scheme AND l.statement = t.statement),
           'open', (SELECT count(*) FROM bank_line_open o WHERE o.scheme = t.scheme AND o.statement = t.statement),
           'message', jsonb_build_object('location', '/v1/bank-statements/' || s.code || '.' || t.statement || '/raw',
                                         'message_id', d.message_id, 'bytes', length(d.content), 'sha256', encode(d.sha256, 'hex')),
           'lines', (SELECT coalesce(jsonb_agg(jsonb_strip_nulls(l.shown || jsonb_build_object('resolution', l.resolution))
                                               ORDER BY l.line), '[]')
                       FROM (SELECT l.line FROM bank_line l WHERE l.scheme = $1::integer AND l.statement = $2::bigint
                              ORDER BY l.line LIMIT $3::integer) AS first
                       JOIN bank_line_shown l ON l.scheme = $1::integer AND l.line = first.line)))
  FROM bank_statement_shown t
  JOIN bank_statement b ON b.scheme = t.scheme AND b.statement = t.statement
  JOIN bank_document d ON d.scheme = b.scheme AND d.document = b.document
  JOIN scheme s ON s.id = t.scheme
 WHERE t.scheme = $1::integer AND t.statement = $2::bigint
