-- The accounts that lists of office codes name. $1: the scheme's code of each list. Of all accounts: $2 the place of
-- the list, from 1, and $3 its name, or that of a kind for all accounts of the kind. A row for each account, in their
-- order: its number, 0: the scheme has no such account. A site must be the scheme's own.
SELECT coalesce(CASE WHEN part[2] IS NULL THEN account_of(k.kind, 0, 0)
                     WHEN (k.scope IN ('site_cup_type', 'pair', 'other_cup_type')) <> (part[3] IS NOT NULL) THEN NULL
                     ELSE account_of(k.kind, CASE WHEN k.scope IN ('site', 'site_cup_type') THEN place.id
                                                  WHEN k.scope = 'participant' THEN p.id
                                                  WHEN k.scope = 'cup_type' THEN 0
                                                  WHEN k.scope = 'pair' AND s.id IN (o.id, h.id) AND o.id <> h.id
                                                  THEN o.id << 16 | h.id
                                                  WHEN k.scope IN ('other', 'other_cup_type') AND o.id <> s.id THEN o.id END,
                                     CASE WHEN k.scope IN ('cup_type', 'site_cup_type', 'other_cup_type') THEN c.id ELSE 0 END)
                     END, 0)
  FROM unnest($2::bigint[], $3::text[]) WITH ORDINALITY AS u(list, name, position)
 CROSS JOIN regexp_match(u.name, '^([a-z_]+)(?:\(([a-z0-9-]+)(?:,([a-z0-9-]+))?\))?$') AS part
  LEFT JOIN scheme s ON s.code = ($1::text[])[u.list]
  LEFT JOIN account_kind k ON k.word = part[1]
  LEFT JOIN site place ON place.code = part[2] AND place.scheme = s.id
  LEFT JOIN participant p ON p.code = part[2]
  LEFT JOIN scheme o ON o.code = part[2]
  LEFT JOIN scheme h ON h.code = part[3]
  LEFT JOIN cup_type c ON c.code = part[CASE k.scope WHEN 'cup_type' THEN 2 ELSE 3 END]
 ORDER BY u.position
