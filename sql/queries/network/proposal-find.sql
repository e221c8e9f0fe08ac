-- Proposal $1: kind, name, body, the hash of a key's secret; by which key it was proposed and when; the
-- decision, by which key (null: none yet); and its scheme, where it concerns one; whether key $2 is in force;
-- and why it was proposed.
SELECT p.what, p.name, p.body, p.secret_hash, p.proposed_by, instant_us(p.proposed_at), d.decision, d.decided_by, p.schemes[1],
       EXISTS (SELECT FROM api_key k WHERE k.id = $2::integer AND k.revoked_at IS NULL), p.why
  FROM proposal p LEFT JOIN proposal_decision d ON d.proposal = p.number
 WHERE p.number = $1::bigint
