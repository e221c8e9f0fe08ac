-- Which of the ids $2 scheme $1 already has, and what was answered then.
SELECT i.event_id, i.digest, e.entry, e.business_date, e.late,
       EXISTS (SELECT FROM exception x WHERE x.scheme = e.scheme AND x.entry = e.entry)
  FROM event_id i JOIN entry e ON e.scheme = i.scheme AND e.entry = i.entry
 WHERE i.scheme = $1::integer AND i.event_id = ANY ($2::uuid[])
