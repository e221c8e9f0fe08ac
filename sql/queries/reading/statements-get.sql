-- The statements $2 of scheme $1 as JSON, in that order, with their lines; and how many lines there are of each kind.
WITH asked AS (
    SELECT statement, min(place) AS place FROM unnest($2::bigint[]) WITH ORDINALITY AS a(statement, place) GROUP BY statement),
line AS MATERIALIZED (
    SELECT l.statement, l.line, l.shown, l.shown->>'disposition' AS disposition
      FROM asked JOIN bank_line_shown l ON l.scheme = $1::integer AND l.statement = asked.statement)
SELECT json_build_object(
    'statements', (
        SELECT json_agg(json_build_object(
                   'bank_statement', s.code || '.' || t.statement, 'statement', t.statement_id, 'account', t.account,
                   'received_at', instant_text(d.received_at), 'balances', t.balances,
                   'lines', (SELECT coalesce(json_agg(line.shown ORDER BY line.line), '[]') FROM line
                              WHERE line.statement = t.statement)) ORDER BY asked.place)
          FROM asked
          JOIN bank_statement t ON t.scheme = $1::integer AND t.statement = asked.statement
          JOIN bank_document d ON (d.scheme, d.document) = (t.scheme, t.document)
          JOIN scheme s ON s.id = t.scheme),
    'confirmed', count(*) FILTER (WHERE disposition = 'matched'),
    'returned', count(*) FILTER (WHERE disposition = 'returned'),
    'between_schemes', count(*) FILTER (WHERE disposition = 'between_schemes'),
    'unmatched', count(*) FILTER (WHERE disposition = 'unmatched'),
    'underpaid', count(*) FILTER (WHERE disposition = 'underpaid'),
    'overpaid', count(*) FILTER (WHERE disposition = 'overpaid'),
    'repeated', count(*) FILTER (WHERE disposition = 'repeated'),
    'ignored', count(*) FILTER (WHERE disposition = 'ignored'))
  FROM line
