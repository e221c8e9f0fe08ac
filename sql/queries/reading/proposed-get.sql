-- The event that was proposed in scheme $1 with id $2, as JSON: a journal if $3, else an opening or its reversal,
-- with the balance sheet that it states.
SELECT json_strip_nulls(json_build_object(
           'event_id', p.event_id, 'scheme', s.code, 'status', p.status, 'proposed_at', instant_text(p.proposed_at),
           'proposed_by', k.name, 'decided_at', instant_text(p.decided_at), 'decided_by', d.name, 'note', p.note, 'entry', p.entry,
           'balance_sheet', CASE WHEN p.kind <> :kind_journal THEN balance_sheet(p.scheme, p.accounts, p.amounts) END,
           'event', p.event::json))
  FROM proposed_event p
  JOIN scheme s ON s.id = p.scheme
  LEFT JOIN api_key k ON k.id = p.proposed_by
  LEFT JOIN api_key d ON d.id = p.decided_by
 WHERE p.scheme = $1::integer AND p.event_id = $2::uuid AND (p.kind = :kind_journal) = $3::boolean
