-- A slice of the proposals with status $4, each as JSON, with its number: beyond $2, at most $3; $1: that concern a
-- scheme, null: any; $5: only those that the holder of key $6 has made, or only others' (null: all). The slice is
-- chosen before anything is shown of it.
WITH slice AS (
    SELECT p.number
      FROM (SELECT p.number, p.proposed_by FROM proposal p LEFT JOIN proposal_decision d ON d.proposal = p.number
             WHERE p.number :beyond $2::bigint AND coalesce(d.decision, 'open') = $4::text
               AND ($1::integer IS NULL OR $1::integer = ANY (p.schemes))
             ORDER BY p.number :onward OFFSET 0) AS p
     WHERE $5::boolean IS NULL
        OR EXISTS (SELECT FROM api_key by, api_key own
                    WHERE by.id = p.proposed_by AND own.id = $6::integer AND own.holder = by.holder) = $5
     ORDER BY p.number :onward LIMIT $3::integer)
SELECT s.shown, s.number
  FROM slice CROSS JOIN LATERAL (SELECT * FROM proposal_shown v WHERE v.number = slice.number OFFSET 0) AS s
 ORDER BY s.number :onward
