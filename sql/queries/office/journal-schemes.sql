-- The schemes in which a journal with event id $1 was proposed.
SELECT p.scheme FROM scheme s JOIN journal_proposal p ON p.scheme = s.id AND p.event_id = $1::uuid ORDER BY p.scheme
