-- A page of the proposals with status $4, each as JSON, with its number: after $2, at most $3; $1: that concern a scheme, null: any.
SELECT shown, number
  FROM proposal_shown
 WHERE number > $2::bigint AND status = $4::text AND ($1::integer IS NULL OR $1::integer = ANY (schemes))
 ORDER BY number LIMIT $3::integer
