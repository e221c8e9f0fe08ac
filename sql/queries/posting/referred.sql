-- The event with id $2 of scheme $1, for one that refers to it: its entry, whether it is reversed, what else refers
-- to it, also in another scheme, the entry that it refers to and that entry's scheme if it is another one, its number
-- as a dispatch (of a shipment of an opening, below 0), and its list of cups.
SELECT e.entry, e.business_date, e.kind, e.site, e.accounts, e.amounts,
       EXISTS (SELECT FROM entry_reference r
                WHERE r.scheme = e.scheme AND r.referred = e.entry AND r.kind = :kind_reversal) AS reversed,
       EXISTS (SELECT FROM entry_reference r
                WHERE r.scheme = e.scheme AND r.referred = e.entry AND r.kind <> :kind_reversal
                  AND NOT EXISTS (SELECT FROM entry_reference u
                                   WHERE u.scheme = r.scheme AND u.referred = r.entry AND u.kind = :kind_reversal))
       OR EXISTS (SELECT FROM host_dispatch r
                   WHERE r.host = e.scheme AND r.dispatch = e.entry
                     AND NOT EXISTS (SELECT FROM entry_reference u
                                      WHERE u.scheme = r.scheme AND u.referred = r.entry AND u.kind = :kind_reversal)) AS arrived,
       coalesce((SELECT r.referred FROM entry_reference r WHERE r.scheme = e.scheme AND r.entry = e.entry), f.dispatch) AS refers,
       f.host,
       coalesce(h.number, CASE WHEN e.kind IN (:kinds_sent) THEN e.entry END),
       c.cup_types, c.damaged, c.quantities
  FROM event_id i
  JOIN entry e ON e.scheme = i.scheme AND e.entry = i.entry
  LEFT JOIN shipment h ON h.scheme = i.scheme AND h.event_id = i.event_id
  LEFT JOIN host_dispatch f ON f.scheme = e.scheme AND f.entry = e.entry
  LEFT JOIN LATERAL (
       SELECT array_agg(t.id ORDER BY l.place) AS cup_types,
              array_agg((l.line ->> 'condition' IS NOT NULL)::integer ORDER BY l.place) AS damaged,
              array_agg((l.line ->> 'quantity')::bigint ORDER BY l.place) AS quantities
         FROM jsonb_array_elements(e.event::jsonb -> 'cups') WITH ORDINALITY AS l(line, place)
         JOIN cup_type t ON t.code = l.line ->> 'cup_type') c
    ON e.kind IN (:kinds_sent, :kinds_received, :kinds_lost, :kinds_forfeited, :kinds_reinstated)
 WHERE i.scheme = $1::integer AND i.event_id = $2::uuid
