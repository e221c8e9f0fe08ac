-- Makes a key. $1: its name, $2: its role, $3: the SHA-256 of its secret, $4: its participant's code, $5: its sites'
-- codes, $6: its holder, $7: the key that makes it, 0: the command line, $8:
-- the language of its pages.
WITH added AS (
    INSERT INTO api_key (id, name, role, secret_hash, participant, holder, made_by, language)
    VALUES ((SELECT coalesce(max(id), 0) + 1 FROM api_key), $1::text, $2::text, $3::bytea,
            (SELECT id FROM participant WHERE code = $4::text), $6::text, nullif($7::integer, 0), $8::text)
    RETURNING id)
INSERT INTO api_key_site (api_key, site)
SELECT added.id, s.id FROM added, site s WHERE s.code = ANY ($5::text[])
