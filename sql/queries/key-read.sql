-- Keys as JSON, also revoked ones, each with its name and number, by which pages go. $1: the name of one in force; $2: the key to
-- begin after; $3: the most rows; null: no such bound.
SELECT json_strip_nulls(json_build_object(
           'name', k.name, 'holder', k.holder, 'role', k.role,
           'sites', (SELECT json_agg(s.code ORDER BY s.code COLLATE "C")
                       FROM api_key_site n JOIN site s ON s.id = n.site WHERE n.api_key = k.id),
           'participant', p.code, 'created_at', instant_text(k.created_at), 'made_by', m.name,
           'renewed_at', instant_text(k.renewed_at), 'revoked_at', instant_text(k.revoked_at), 'revoked_by', r.name)),
       place
  FROM api_key k
  LEFT JOIN participant p ON p.id = k.participant
  LEFT JOIN api_key m ON m.id = k.made_by
  LEFT JOIN api_key r ON r.id = k.revoked_by,
       concat(k.name, '/', lpad(k.id::text, 10, '0')) AS place
 WHERE ($1::text IS NULL OR k.name = $1::text AND k.revoked_at IS NULL)
   AND place COLLATE "C" > coalesce($2::text, '')
 ORDER BY place COLLATE "C" LIMIT $3::bigint
