-- The changes after number $1, which are this transaction's, that need two people, because they weaken the control of
-- two in a scheme where that is in force: dual control is on (before these changes) and something has been posted; or
-- because each of two schemes signs. One row, if there is any: the changes, how many others there are, and the schemes
-- concerned. $2: the roles whose keys are made by two people.
WITH made AS MATERIALIZED (
    SELECT * FROM reference_change WHERE number > $1::bigint),
held AS MATERIALIZED (
    SELECT DISTINCT ON (subject) subject, (before->>'dual_control')::boolean AS dual_control
      FROM made WHERE of_what = 'scheme' AND before IS NOT NULL ORDER BY subject, number),
in_force AS MATERIALIZED (
    SELECT s.id
      FROM scheme s
      JOIN scheme_head h ON h.scheme = s.id
      LEFT JOIN held ON held.subject = s.id
     WHERE h.last_entry > 0 AND coalesce(held.dual_control, s.dual_control)),
concerned AS MATERIALIZED (
    SELECT m.number, s.id FROM made m JOIN scheme s ON s.id IN (m.scheme, m.subject) WHERE m.of_what = 'agreement'
    UNION
    SELECT m.number, f.id FROM made m CROSS JOIN in_force f
     WHERE m.of_what = 'key' AND m.before IS NULL AND m.after->>'role' = ANY ($2::text[])
    UNION
    SELECT m.number, f.id
      FROM made m JOIN site t ON t.participant = m.subject JOIN in_force f ON f.id = t.scheme
     WHERE m.of_what = 'participant' AND m.before IS NOT NULL
       AND (m.before->'bank_account', m.before->'bic') IS DISTINCT FROM (m.after->'bank_account', m.after->'bic')
    UNION
    SELECT m.number, f.id FROM made m JOIN in_force f ON f.id = m.subject
     WHERE m.of_what = 'scheme' AND m.before IS NOT NULL
       AND ((m.before->>'dual_control')::boolean AND NOT (m.after->>'dual_control')::boolean
            OR (m.before->'operator') - 'name' IS DISTINCT FROM (m.after->'operator') - 'name'
            OR m.before ? 'variance_limit'
               AND coalesce((m.after->>'variance_limit')::numeric > (m.before->>'variance_limit')::numeric, true)))
SELECT jsonb_agg(jsonb_strip_nulls(jsonb_build_object(
           'of', w.of_what, 'name', w.name, 'scheme', s.code, 'before', members_that_differ(w.before, w.after),
           'after', members_that_differ(w.after, w.before))) ORDER BY w.number),
       (SELECT count(*) FROM made) - count(*),
       (SELECT array_agg(DISTINCT id ORDER BY id) FROM concerned)
  FROM made w LEFT JOIN scheme s ON s.id = w.scheme
 WHERE w.number IN (SELECT number FROM concerned)
HAVING count(*) > 0
