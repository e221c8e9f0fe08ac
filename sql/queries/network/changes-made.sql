-- The changes after number $1, which are this transaction's, member by member, as a JSON list of at most $2; and how
-- many members there are beyond. A member that was not there has no from, and a member that is gone has no to.
WITH member AS (
    SELECT c.number, m.key,
           json_strip_nulls(json_build_object('of', c.of_what, 'name', c.name, 'scheme', s.code, 'member', m.key,
                                              'from', c.before -> m.key, 'to', c.after -> m.key)) AS shown,
           row_number() OVER (ORDER BY c.number, m.key) AS position
      FROM reference_change c
      LEFT JOIN scheme s ON s.id = c.scheme
     CROSS JOIN LATERAL (SELECT jsonb_object_keys(coalesce(c.before, '{}') || coalesce(c.after, '{}')) AS key) AS m
     WHERE c.number > $1::bigint AND c.before -> m.key IS DISTINCT FROM c.after -> m.key)
SELECT coalesce(json_agg(shown ORDER BY position) FILTER (WHERE position <= $2::bigint), '[]'),
       count(*) FILTER (WHERE position > $2::bigint)
  FROM member
