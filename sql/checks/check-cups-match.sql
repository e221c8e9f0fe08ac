-- Check: the sightings of cups with identity follow from the entries that were looked at: as many as an event
-- names, none of an entry that names none and brings none, taken back exactly by the reversals that there are; and
-- each exception of a cup is of a finding. $1 scheme.
WITH through AS (
    SELECT coalesce((SELECT entry FROM sighting_place WHERE scheme = $1::integer), 0) AS entry),
named AS (
    SELECT e.entry, count(*) AS ids,
           count(*) FILTER (WHERE NOT EXISTS (
               SELECT FROM sighting s JOIN cup c USING (cup)
                WHERE s.scheme = e.scheme AND s.entry = e.entry AND NOT s.brought AND c.id = i.id #>> '{}'
                  AND s.business_date = e.business_date AND s.occurred_at = e.occurred_at AND s.kind = e.kind)) AS missing
      FROM through t
      JOIN entry e ON e.scheme = $1::integer AND e.entry <= t.entry AND e.event LIKE '%"ids":[%'
     CROSS JOIN LATERAL jsonb_path_query(e.event::jsonb, 'strict $.**.ids[*]') AS i(id)
     GROUP BY 1),
seen_at AS (
    SELECT s.entry, count(*) FILTER (WHERE NOT s.brought) AS sightings,
           bool_or(s.reversed_by IS DISTINCT FROM (
               SELECT r.entry FROM entry_reference r
                WHERE r.scheme = s.scheme AND r.referred = s.entry AND r.kind = :kind_reversal AND r.entry <= t.entry)) AS other_reversal,
           bool_or(s.home IS NOT NULL AND NOT EXISTS (
               SELECT FROM entry e
                 CROSS JOIN LATERAL jsonb_array_elements(e.event::jsonb -> 'returned') AS line
                 JOIN scheme h ON h.id = s.home AND h.code = line ->> 'home'
                WHERE e.scheme = s.scheme AND e.entry = s.entry AND line -> 'ids' ? (SELECT c.id FROM cup c WHERE c.cup = s.cup))
               OR s.home IS NULL AND NOT s.brought AND account_kind_of(s.came_from) = :account_with_customers AND EXISTS (
               SELECT FROM entry e
                 CROSS JOIN LATERAL jsonb_array_elements(e.event::jsonb -> 'returned') AS line
                WHERE e.scheme = s.scheme AND e.entry = s.entry AND e.event LIKE '%"home":%' AND line ->> 'home' IS NOT NULL
                  AND line -> 'ids' ? (SELECT c.id FROM cup c WHERE c.cup = s.cup)
                  AND NOT EXISTS (SELECT FROM jsonb_array_elements(e.event::jsonb -> 'returned') AS other
                                   WHERE other ->> 'home' IS NULL
                                     AND other -> 'ids' ? (SELECT c.id FROM cup c WHERE c.cup = s.cup)))) AS other_home
      FROM through t JOIN sighting s ON s.scheme = $1::integer GROUP BY 1),
examined AS (
    SELECT coalesce(n.entry, s.entry) AS entry,
           format('entry %s has not the sightings of cups that its event names', coalesce(n.entry, s.entry)) AS what,
           coalesce(n.ids, 0) <> coalesce(s.sightings, 0) OR coalesce(n.missing, 0) > 0 OR coalesce(s.other_reversal, false)
           OR coalesce(s.other_home, false) AS is_broken
      FROM named n FULL JOIN seen_at s USING (entry)
    UNION ALL
    SELECT x.entry, format('exception %s of entry %s is of no cup with identity', x.position, x.entry), f.number IS NULL
      FROM exception x
      LEFT JOIN cup_finding f ON (f.scheme, f.entry, f.exception, f.kind) = (x.scheme, x.entry, x.position, x.kind)
     WHERE x.scheme = $1::integer AND x.position >= 1000)
SELECT count(*), count(*) FILTER (WHERE is_broken),
       first_lines(array_agg(what ORDER BY entry, what) FILTER (WHERE is_broken))
  FROM examined
