-- The language of the pages that the holder of a key reads.

ALTER TABLE api_key
    ADD COLUMN language text CHECK (language ~ '^[a-z]{2,3}$'); -- a code of ISO 639; null: as the browser prefers

-- What a recorded change says of a key: nothing of the language where none is set, so that older changes stay as they are.
CREATE OR REPLACE FUNCTION key_state(k api_key) RETURNS jsonb
    LANGUAGE sql STABLE
    RETURN jsonb_strip_nulls(jsonb_build_object(
        'holder', k.holder, 'role', k.role, 'participant', (SELECT code FROM participant WHERE id = k.participant),
        'sites', (SELECT jsonb_agg(s.code ORDER BY s.code COLLATE "C")
                    FROM api_key_site n JOIN site s ON s.id = n.site WHERE n.api_key = k.id),
        'language', k.language,
        'made_by', (SELECT name FROM api_key WHERE id = k.made_by), 'renewed_at', instant_text(k.renewed_at),
        'revoked_at', instant_text(k.revoked_at), 'revoked_by', (SELECT name FROM api_key WHERE id = k.revoked_by)));
