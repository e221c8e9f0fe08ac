-- Keeps an event of scheme $1, with id $2, until it is decided on: its kind $10, digest $3, event $4, when it
-- occurred $5, legs $6 and $7; proposed at $8 by key $9.
INSERT INTO proposed_event (scheme, event_id, digest, event, occurred_at, accounts, amounts, proposed_at, proposed_by, kind)
VALUES ($1::integer, $2::uuid, $3::bytea, $4::text, $5::timestamptz, $6::bigint[], $7::bigint[], $8::timestamptz, $9::integer,
        $10::integer)
