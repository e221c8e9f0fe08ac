-- Notes which sightings the reversals of scheme $1 took back, after entry $2 through $3.
UPDATE sighting s SET reversed_by = r.entry
  FROM entry_reference r
 WHERE r.scheme = $1::integer AND r.entry > $2::bigint AND r.entry <= $3::bigint AND r.kind = :kind_reversal
   AND s.scheme = r.scheme AND s.entry = r.referred
