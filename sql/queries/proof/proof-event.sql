-- The entries of event id $1, in all schemes or $2 (null: all), of the sites to show $3 (null: all).
SELECT e.scheme, e.entry
  FROM event_id i JOIN entry e ON (e.scheme, e.entry) = (i.scheme, i.entry)
 WHERE i.scheme IN (SELECT id FROM scheme WHERE $2::integer IS NULL OR id = $2) AND i.event_id = $1::uuid
   AND ($3::integer[] IS NULL OR e.site = ANY ($3))
