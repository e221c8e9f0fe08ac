-- The ids among $2 that scheme $1 has already.
SELECT i.event_id FROM event_id i WHERE i.scheme = $1::integer AND i.event_id = ANY ($2::uuid[])
