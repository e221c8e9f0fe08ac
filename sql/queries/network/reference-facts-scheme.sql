-- The facts that changing a scheme depends on. $1: its code, as it is to be: $2 currency, $3 time zone, $4
-- cut-off in minutes, $5 stock terms. Exactly one row: whether anything is posted or closed; whether $2, $3,
-- $4, $5 change it; whether the database knows the zone by an IANA name; the decimals that its terms and
-- refund values are written in, null: none are.
SELECT coalesce(h.last_entry > 0 OR EXISTS (SELECT FROM business_day d WHERE d.scheme = s.id AND d.state <> 'open'), false),
       coalesce(s.currency <> $2::text, false),
       coalesce(s.time_zone <> $3::text, false),
       coalesce(s.cut_off <> make_time($4::integer / 60, $4::integer % 60, 0), false),
       coalesce(s.stock_terms <> $5::text, false),
       CASE WHEN s.time_zone = $3::text THEN true -- the list of names is slow to make
            ELSE $3::text !~ '^(posix/|right/|(posixrules|localtime|Factory)$)'
                 AND EXISTS (SELECT FROM pg_timezone_names WHERE name = $3::text) END,
       CASE WHEN EXISTS (SELECT FROM terms t WHERE t.scheme = s.id)
              OR EXISTS (SELECT FROM refund_value v WHERE v.scheme = s.id) THEN s.decimals END
  FROM (SELECT $1::text AS code) AS given
  LEFT JOIN scheme s ON s.code = given.code
  LEFT JOIN scheme_head h ON h.scheme = s.id
