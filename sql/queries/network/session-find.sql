-- The session whose cookie has the hash $1, and its key, if both are in force at $2. It ends $3 seconds after it was
-- seen last ($4 if its key has the role pos), and $5 seconds after it began. Notes that it is seen now, but not more
-- than once a minute, so that reading mostly writes nothing.
WITH found AS (
    SELECT b.session, b.api_key, b.seen_at
      FROM browser_session b JOIN api_key k ON k.id = b.api_key AND k.secret_hash = b.key_hash
     WHERE b.hash = $1::bytea AND b.ended_at IS NULL AND k.revoked_at IS NULL
       AND b.seen_at > $2::timestamptz - make_interval(
               secs => CASE WHEN k.role = 'pos' THEN $4::bigint ELSE $3::bigint END)
       AND b.begun_at > $2::timestamptz - make_interval(secs => $5::bigint)),
seen AS (
    UPDATE browser_session b SET seen_at = $2::timestamptz
      FROM found f
     WHERE b.session = f.session AND f.seen_at < $2::timestamptz - interval '1 minute')
SELECT session, api_key FROM found
