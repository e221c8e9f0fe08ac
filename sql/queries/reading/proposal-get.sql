-- Proposal $1 as JSON, with the bank line, exception or month that it is about;
-- with the status $2, unless that is null.
WITH named AS (
    SELECT p.*, p.schemes[1] AS scheme,
           CASE WHEN p.shown ->> 'what' = 'bank_line' THEN split_part(p.shown ->> 'name', '.', 2)::bigint END AS line,
           CASE WHEN p.shown ->> 'what' = 'exception' THEN split_part(p.shown ->> 'name', '.', 2)::bigint END AS entry,
           CASE WHEN p.shown ->> 'what' = 'exception' THEN split_part(p.shown ->> 'name', '.', 3)::integer END AS position
      FROM proposal_shown p WHERE p.number = $1::bigint)
SELECT n.shown || jsonb_strip_nulls(jsonb_build_object('status', $2::text, 'subject', coalesce(
           (SELECT l.shown FROM bank_line_shown l WHERE l.scheme = n.scheme AND l.line = n.line),
           (SELECT jsonb_strip_nulls(jsonb_build_object('entry', x.entry, 'business_date', x.business_date,
                                                        'exception', x.kind, 'amount', amount_text(x.amount, s.decimals)))
              FROM exception x JOIN scheme s ON s.id = x.scheme
             WHERE x.scheme = n.scheme AND x.entry = n.entry AND x.position = n.position),
           CASE WHEN n.shown ->> 'what' = 'month'
                THEN month_shown(n.scheme, to_date(split_part(n.shown ->> 'name', '.', 2), 'YYYY-MM')) END)))
  FROM named n
