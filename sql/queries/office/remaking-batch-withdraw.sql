-- Says that batch $2 of scheme $1 is wrong, at $3, by key $4, for reason $5.
INSERT INTO remaking_batch_withdrawal (scheme, number, withdrawn_at, withdrawn_by, reason)
VALUES ($1::integer, $2::bigint, $3::timestamptz, $4::integer, $5::text)
