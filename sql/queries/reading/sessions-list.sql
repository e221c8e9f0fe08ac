-- Sessions of key $1 as JSON, each with its number: beyond $2, at most $3. $4: the session that asks, 0: none. $5: now;
-- a session ends $6 seconds after it was seen last ($7 if the key has the role pos), and $8 seconds after it began.
SELECT json_strip_nulls(json_build_object(
           'session', b.session, 'state',
           CASE WHEN b.ended_at IS NOT NULL THEN 'ended'
                WHEN k.revoked_at IS NOT NULL OR k.secret_hash <> b.key_hash THEN 'ended'
                WHEN b.seen_at <= $5::timestamptz - make_interval(
                         secs => CASE WHEN k.role = 'pos' THEN $7::bigint ELSE $6::bigint END)
                  OR b.begun_at <= $5::timestamptz - make_interval(secs => $8::bigint) THEN 'expired'
                WHEN b.session = $4::bigint THEN 'this'
                ELSE 'open' END,
           'begun_at', instant_text(b.begun_at), 'seen_at', instant_text(b.seen_at), 'ended_at', instant_text(b.ended_at))),
       b.session
  FROM browser_session b JOIN api_key k ON k.id = b.api_key
 WHERE b.api_key = $1::integer AND b.session :beyond $2::bigint
 ORDER BY b.session :onward LIMIT $3::integer
