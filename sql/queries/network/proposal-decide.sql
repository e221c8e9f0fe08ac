-- Proposal $1 is now $2 (approved or withdrawn), since $3, by key $4, with note $5.
INSERT INTO proposal_decision (proposal, decision, decided_at, decided_by, note)
VALUES ($1::bigint, $2::text, $3::timestamptz, $4::integer, $5::text)
