-- Keeps the page that form $2 of session $1 led to.
UPDATE form_sent SET location = $3::text WHERE session = $1::bigint AND once = $2::uuid
