-- The ids $2 that their schemes $1 already have, and the first answer to each. The statement makes one index probe for
-- each id, even if the planner would not: a plan made while the tables were empty must still do when they are large. An
-- event that two people posted is recorded with who approved it; it is compared as it was proposed. The id of a
-- shipment of an opening equals no event.
SELECT known.*, EXISTS (SELECT FROM exception x WHERE x.scheme = known.scheme AND x.entry = known.entry AND x.position < 1000)
  FROM unnest($1::integer[], $2::uuid[]) AS wanted(scheme, event_id)
 CROSS JOIN LATERAL (SELECT i.scheme, i.event_id, i.digest, i.entry FROM event_id i
                      WHERE i.scheme = wanted.scheme AND i.event_id = wanted.event_id LIMIT 1) id
 CROSS JOIN LATERAL (SELECT id.scheme, id.event_id,
                            CASE WHEN e.kind IN (:kind_journal, :kind_opening) THEN proposed.digest
                                 WHEN e.kind = :kind_reversal THEN coalesce(proposed.digest, id.digest)
                                 ELSE id.digest END,
                            id.entry, e.business_date, e.late
                       FROM entry e
                       LEFT JOIN LATERAL (SELECT p.digest FROM proposed_event p
                                           WHERE e.kind IN (:kind_journal, :kind_opening, :kind_reversal)
                                             AND p.scheme = id.scheme AND p.event_id = id.event_id) proposed ON true
                      WHERE e.scheme = id.scheme AND e.entry = id.entry LIMIT 1) known
