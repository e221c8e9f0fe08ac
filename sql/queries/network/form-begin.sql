-- Notes at $3 that session $1 sends form $2. Whether it is the first time, and the page that the first time led to.
WITH first AS (
    INSERT INTO form_sent (session, once, sent_at) VALUES ($1::bigint, $2::uuid, $3::timestamptz)
    ON CONFLICT DO NOTHING
    RETURNING session)
SELECT EXISTS (SELECT FROM first), (SELECT location FROM form_sent WHERE session = $1::bigint AND once = $2::uuid)
