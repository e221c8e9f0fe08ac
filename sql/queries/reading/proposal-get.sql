-- Proposal $1 as JSON; with the status $2, unless that is null.
SELECT shown || CASE WHEN $2::text IS NOT NULL THEN jsonb_build_object('status', $2::text) ELSE '{}' END
  FROM proposal_shown WHERE number = $1::bigint
