-- Changes the language of the pages of a key in force: of the key $1, or of the one with the name $2. $3: its code,
-- null: as the browser prefers. Gives the name of the key.
UPDATE api_key SET language = $3::text WHERE (id = $1::integer OR name = $2::text) AND revoked_at IS NULL
RETURNING name
