-- Says at $4, by key $5, with note $6, that exception $3 of entry $2 of scheme $1 was looked at, if it is there and
-- nobody has; by the approval of proposal $7 (0: it needed none).
INSERT INTO exception_resolution (scheme, entry, position, resolved_at, resolved_by, note, proposal)
SELECT scheme, entry, position, $4::timestamptz, $5::integer, $6::text, nullif($7::bigint, 0)
  FROM exception WHERE scheme = $1::integer AND entry = $2::bigint AND position = $3::integer
    ON CONFLICT DO NOTHING
