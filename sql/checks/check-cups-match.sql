-- Check: the sightings of cups with identity follow from the entries that were looked at: as many as an event
-- names, none of an entry that names none and brings none, taken back exactly by the reversals that there are; and
-- each exception of a cup is of a finding. So do the cups supplied without names, the stretches of entries in which
-- cups left a place without being named, and, with the first scheme, the sums of strangers of all schemes. $1 scheme.
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
supplied AS (
    SELECT m.cup_type, sum(m.cups) AS cups
      FROM (SELECT account_cup_type(l.account) AS cup_type, -l.amount AS cups
              FROM through t
              JOIN entry e ON e.scheme = $1::integer AND e.entry <= t.entry
             CROSS JOIN LATERAL unnest(e.accounts, e.amounts) AS l(account, amount)
             WHERE account_kind_of(l.account) = :account_supply
            UNION ALL
            SELECT account_cup_type(s.came_from), -1
              FROM sighting s
             WHERE s.scheme = $1::integer AND account_kind_of(s.came_from) = :account_supply AND s.reversed_by IS NULL) AS m
     GROUP BY 1 HAVING sum(m.cups) <> 0),
kept AS (
    SELECT cup_type, unnamed FROM cup_supply WHERE scheme = $1::integer AND unnamed <> 0),
moved AS (
    SELECT m.account, m.entry / 512 AS stretch, min(m.entry) AS first_entry, max(m.entry) AS last_entry,
           min(m.occurred_at) AS first_at, max(m.occurred_at) AS last_at
      FROM (SELECT e.entry, e.occurred_at, l.account, -sum(l.amount) AS cups
              FROM through t
              JOIN entry e ON e.scheme = $1::integer AND e.entry <= t.entry AND e.kind NOT IN (:kind_reversal, :kind_reversal_abroad)
             CROSS JOIN LATERAL unnest(e.accounts, e.amounts) AS l(account, amount)
             WHERE l.amount < 0 AND account_unit(l.account) <> 0
               AND account_kind_of(l.account) NOT IN (:accounts_stock, :account_in_transit, :account_supply)
             GROUP BY 1, 2, 3) AS m
      LEFT JOIN (SELECT entry, came_from AS account, count(*) AS cups
                   FROM sighting WHERE scheme = $1::integer AND went_to <> came_from GROUP BY 1, 2) AS n USING (entry, account)
     WHERE m.cups > coalesce(n.cups, 0)
     GROUP BY 1, 2),
strange AS (
    SELECT k.stranger_of AS cup_type, count(*) FILTER (WHERE NOT k.stranger_beyond) AS covered,
           count(*) FILTER (WHERE k.stranger_beyond) AS beyond,
           bool_or(k.stranger_beyond <> EXISTS (SELECT FROM cup_finding f WHERE f.cup = k.cup AND NOT f.ended
                                                   AND f.kind = 'cup_never_supplied')) AS is_other
      FROM cup k
     WHERE k.stranger_of IS NOT NULL AND $1::integer = (SELECT min(id) FROM scheme)
     GROUP BY 1),
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
     WHERE x.scheme = $1::integer AND x.position >= 1000
    UNION ALL
    SELECT 0, format('%s cups of type %s were supplied without names, and %s are kept', coalesce(s.cups, 0), c.code, coalesce(k.unnamed, 0)),
           coalesce(s.cups, 0) <> coalesce(k.unnamed, 0)
      FROM supplied s FULL JOIN kept k USING (cup_type) JOIN cup_type c ON c.id = cup_type
    UNION ALL
    SELECT m.first_entry, format('entry %s moved cups without naming them, and is in no stretch', m.first_entry), u.scheme IS NULL
      FROM moved m
      LEFT JOIN unnamed_stretch u ON (u.scheme, u.account, u.stretch) = ($1::integer, m.account, m.stretch)
            AND u.first_entry <= m.first_entry AND u.last_entry >= m.last_entry AND u.first_at <= m.first_at AND u.last_at >= m.last_at
    UNION ALL
    SELECT 0, format('the strangers of cup type %s are not those that are summed', c.code),
           coalesce(s.is_other, false) OR (coalesce(s.covered, 0), coalesce(s.beyond, 0)) <> (coalesce(g.covered, 0), coalesce(g.beyond, 0))
      FROM strange s FULL JOIN (SELECT * FROM stranger_sum WHERE $1::integer = (SELECT min(id) FROM scheme)) g USING (cup_type)
      JOIN cup_type c ON c.id = cup_type)
SELECT count(*), count(*) FILTER (WHERE is_broken),
       first_lines(array_agg(what ORDER BY entry, what) FILTER (WHERE is_broken))
  FROM examined
