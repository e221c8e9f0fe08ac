-- A slice of the proposals with status $4, each as JSON, with its number: after $2, at most $3; $1: that concern a
-- scheme, null: any. The slice is chosen before anything is shown of it.
WITH slice AS (
    SELECT p.number FROM proposal p LEFT JOIN proposal_decision d ON d.proposal = p.number
     WHERE p.number > $2::bigint AND coalesce(d.decision, 'open') = $4::text AND ($1::integer IS NULL OR $1::integer = ANY (p.schemes))
     ORDER BY p.number LIMIT $3::integer)
SELECT s.shown, s.number
  FROM slice CROSS JOIN LATERAL (SELECT * FROM proposal_shown v WHERE v.number = slice.number OFFSET 0) AS s
 ORDER BY s.number
