-- The schemes in which an event with id $1 was proposed: a journal if $2, else an opening or its reversal.
SELECT p.scheme FROM scheme s JOIN proposed_event p ON p.scheme = s.id AND p.event_id = $1::uuid
 WHERE (p.kind = :kind_journal) = $2::boolean ORDER BY p.scheme
