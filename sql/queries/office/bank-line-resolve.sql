-- Resolves line $2 of scheme $1: at $3, by key $4, with note $5: it was payment $6, or its return ($7); or it was
-- participant $8's (0: nobody's), for account $9. By the entries $10, and by the approval of proposal $11 (0: it
-- needed none).
INSERT INTO bank_line_resolution (scheme, line, resolved_at, api_key, note, payment_id, came_back, participant, account, entries,
                                  proposal)
VALUES ($1::integer, $2::bigint, $3::timestamptz, $4::integer, $5::text, $6::text, $7::boolean, nullif($8::integer, 0), $9::text,
        $10::bigint[], nullif($11::bigint, 0))
