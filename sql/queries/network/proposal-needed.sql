-- The changes after number $1, which are this transaction's, that need two people, because they weaken the control of
-- two in a scheme where that is in force: dual control is on (before these changes) and something has been posted; or
-- because each of two schemes signs. One row, if there is any: the changes, how many others there are, and the schemes
-- concerned. $2: the roles whose keys are made by two people.
WITH made AS (
    SELECT * FROM reference_change WHERE number > $1::bigint),
in_force AS (
    SELECT s.id FROM scheme s JOIN scheme_head h ON h.scheme = s.id AND h.last_entry > 0
     WHERE coalesce((SELECT (m.before->>'dual_control')::boolean FROM made m
                      WHERE m.of_what = 'scheme' AND m.subject = s.id AND m.before IS NOT NULL ORDER BY m.number LIMIT 1),
                    s.dual_control)),
weakening AS (
    SELECT m.*, CASE m.of_what WHEN 'agreement' THEN ARRAY[m.scheme, m.subject] ELSE ARRAY(
               SELECT f.id FROM in_force f
                WHERE CASE m.of_what
                      WHEN 'key' THEN m.before IS NULL AND m.after->>'role' = ANY ($2::text[])
                      WHEN 'participant' THEN m.before IS NOT NULL
                           AND (m.before->'bank_account', m.before->'bic') IS DISTINCT FROM (m.after->'bank_account', m.after->'bic')
                           AND EXISTS (SELECT FROM site t WHERE t.scheme = f.id AND t.participant = m.subject)
                      WHEN 'scheme' THEN m.before IS NOT NULL AND f.id = m.subject
                           AND ((m.before->>'dual_control')::boolean AND NOT (m.after->>'dual_control')::boolean
                                OR (m.before->'operator') - 'name' IS DISTINCT FROM (m.after->'operator') - 'name'
                                OR m.before ? 'variance_limit'
                                   AND coalesce((m.after->>'variance_limit')::numeric > (m.before->>'variance_limit')::numeric, true))
                      ELSE false END) END AS schemes
      FROM made m)
SELECT jsonb_agg(jsonb_strip_nulls(jsonb_build_object(
           'of', w.of_what, 'name', w.name, 'scheme', s.code, 'before', members_that_differ(w.before, w.after),
           'after', members_that_differ(w.after, w.before))) ORDER BY w.number),
       (SELECT count(*) FROM weakening WHERE schemes = '{}'),
       (SELECT array_agg(DISTINCT id ORDER BY id) FROM weakening, unnest(schemes) AS id)
  FROM weakening w LEFT JOIN scheme s ON s.id = w.scheme
 WHERE w.schemes <> '{}'
HAVING count(*) > 0
