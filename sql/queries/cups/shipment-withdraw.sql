-- Withdraws request $2 of scheme $1 at $3, by key $4, for the reason $5.
INSERT INTO shipment_withdrawal (scheme, number, withdrawn_at, withdrawn_by, why)
VALUES ($1::integer, $2::integer, $3::timestamptz, $4::integer, $5::text)
