-- The event that was proposed in scheme $1 with id $2: a journal if $3, else an opening or its reversal; of a
-- reversal, the entry that it reverses.
SELECT p.kind, p.status, p.proposed_by, p.decided_by, p.event, instant_us(p.occurred_at), p.accounts, p.amounts,
       instant_us(p.proposed_at),
       CASE p.kind WHEN :kind_reversal
                   THEN (SELECT i.entry FROM event_id i
                          WHERE i.scheme = p.scheme AND i.event_id = (p.event::json ->> 'reverses')::uuid) END
  FROM proposed_event p WHERE p.scheme = $1::integer AND p.event_id = $2::uuid AND (p.kind = :kind_journal) = $3::boolean
