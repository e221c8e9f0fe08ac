-- Keys as JSON, also revoked ones, each with its name and number, by which slices go. $1: the name of one in force; $2:
-- the key to begin after; $3: the most rows; null: no such bound. They are read in order from an index, of which one
-- name is a range; '~' is after all names.
SELECT json_strip_nulls(json_build_object(
           'name', k.name, 'holder', k.holder, 'role', k.role, 'language', k.language,
           'sites', (SELECT json_agg(s.code ORDER BY s.code COLLATE "C")
                       FROM api_key_site n JOIN site s ON s.id = n.site WHERE n.api_key = k.id),
           'participant', p.code, 'created_at', instant_text(k.created_at), 'made_by', m.name,
           'renewed_at', instant_text(k.renewed_at), 'revoked_at', instant_text(k.revoked_at), 'revoked_by', r.name)),
       k.name || '/' || k.id
  FROM api_key k
  LEFT JOIN participant p ON p.id = k.participant
  LEFT JOIN api_key m ON m.id = k.made_by
  LEFT JOIN api_key r ON r.id = k.revoked_by
 WHERE k.name COLLATE "C" BETWEEN coalesce($1::text, '') AND coalesce($1::text, '~')
   AND ($1::text IS NULL OR k.revoked_at IS NULL)
   AND (k.name COLLATE "C", k.id) > (coalesce(split_part($2::text, '/', 1), '') COLLATE "C",
                                     CASE WHEN split_part($2::text, '/', 2) ~ '^[0-9]{1,9}$' THEN split_part($2::text, '/', 2)::integer ELSE 0 END)
 ORDER BY k.name COLLATE "C", k.id LIMIT $3::bigint
