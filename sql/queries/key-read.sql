-- Keys in force as JSON, each with its name, by which pages go. $1: the name of one, $2: the name to begin after, $3: the
-- most rows; null: no such bound.
SELECT json_strip_nulls(json_build_object(
           'name', k.name, 'role', k.role,
           'sites', (SELECT json_agg(s.code ORDER BY s.code COLLATE "C")
                       FROM api_key_site n JOIN site s ON s.id = n.site WHERE n.api_key = k.id),
           'participant', p.code, 'created_at', instant_text(k.created_at))),
       k.name
  FROM api_key k LEFT JOIN participant p ON p.id = k.participant
 WHERE k.revoked_at IS NULL
   AND ($1::text IS NULL OR k.name = $1::text)
   AND k.name COLLATE "C" > coalesce($2::text, '')
 ORDER BY k.name COLLATE "C" LIMIT $3::bigint
