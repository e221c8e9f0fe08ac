-- The entries of host $2 after entry $3 that concern home $1, in their order, at most $4: returns and exchanges with
-- the lines whose cups carry the home's deposit, and reversals of such with the entry that they reverse.
SELECT e.entry, (e.event::json ->> 'event_id')::uuid, e.hash, instant_us(e.occurred_at), a.amount, a.in_host_currency, a.rate_e12,
       r.referred, coalesce(c.cup_types, '{}'), coalesce(c.quantities, '{}')
  FROM agreed_amount a
  JOIN entry e ON e.scheme = a.scheme AND e.entry = a.entry
  JOIN scheme h ON h.id = a.home
  LEFT JOIN entry_reference r ON r.scheme = e.scheme AND r.entry = e.entry AND r.kind = :kind_reversal
 CROSS JOIN LATERAL (
       SELECT array_agg(t.id ORDER BY l.place) AS cup_types, array_agg((l.line ->> 'quantity')::bigint ORDER BY l.place) AS quantities
         FROM json_array_elements(e.event::json -> 'returned') WITH ORDINALITY AS l(line, place)
         JOIN cup_type t ON t.code = l.line ->> 'cup_type'
        WHERE l.line ->> 'home' = h.code) AS c
 WHERE a.scheme = $2::integer AND a.home = $1::integer AND a.host = $2 AND a.entry > $3::bigint
 ORDER BY a.entry
 LIMIT $4::integer
