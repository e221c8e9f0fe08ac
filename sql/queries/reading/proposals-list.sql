-- A slice of the proposals with status $4, each as JSON, with its number: beyond $2, at most $3; $1: that concern a
-- scheme, null: any; $5: only those that the holder of key $6 has made, or only others' (null: all). The slice is
-- chosen before anything is shown of it.
WITH slice AS (
    SELECT l.number
      FROM (SELECT l.number FROM proposal_listed l
             WHERE l.scheme = coalesce($1::integer, 0) AND l.status = $4::text AND l.number :beyond $2::bigint
             ORDER BY l.number :onward OFFSET 0) AS l
     WHERE $5::boolean IS NULL
        OR EXISTS (SELECT FROM proposal p, api_key by, api_key own
                    WHERE p.number = l.number AND by.id = p.proposed_by AND own.id = $6::integer
                      AND own.holder = by.holder) = $5
     ORDER BY l.number :onward LIMIT $3::integer)
SELECT s.shown, s.number
  FROM slice CROSS JOIN LATERAL (SELECT * FROM proposal_shown v WHERE v.number = slice.number OFFSET 0) AS s
 ORDER BY s.number :onward
