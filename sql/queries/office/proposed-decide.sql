-- The proposed event with id $2 of scheme $1 is now $3 (approved or withdrawn), since $4, by key $5, with note $6, as
-- entry $7.
UPDATE proposed_event
   SET status = $3::text, decided_at = $4::timestamptz, decided_by = $5::integer, note = $6::text, entry = nullif($7::bigint, 0)
 WHERE scheme = $1::integer AND event_id = $2::uuid AND status = 'open'
