-- Keeps a proposal of $1 $2, with body $3 and hash of a secret $4, until it is decided on: changes $5, $6 others, in
-- schemes $7; proposed at $8 by key $9, for reason $10. Its number.
INSERT INTO proposal (what, name, body, secret_hash, changes, others, schemes, proposed_at, proposed_by, why)
VALUES ($1::text, $2::text, $3::text, $4::bytea, $5::jsonb, $6::integer, $7::integer[], $8::timestamptz, $9::integer, $10::text)
RETURNING number
