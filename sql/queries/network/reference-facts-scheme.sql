-- The facts that changing a scheme depends on. $1: its code, as it is to be: $2 currency, $3 time zone, $4 cut-off
-- in minutes, $5 stock terms, and its operator's bank account: $6 iban, or $7 account and $8 bank_code; $9 its
-- last day. Exactly one row: whether anything is posted or closed; whether $2, $3, $4, $5 change it; whether the
-- database knows the zone by an IANA name; the decimals that its terms and refund values are written in, null: none
-- are; whether it takes over a bank account that another scheme has; and whether something is posted and $9 ends it
-- earlier, in the past or within 5 minutes. An opening that is proposed counts as posted, and so does an agreement with
-- another scheme.
SELECT coalesce(h.last_entry > 0
                OR EXISTS (SELECT FROM proposed_event w
                            WHERE w.scheme = s.id AND w.kind = :kind_opening AND w.status = 'open')
                OR EXISTS (SELECT FROM agreement a WHERE s.id IN (a.home, a.host))
                OR EXISTS (SELECT FROM business_day d WHERE d.scheme = s.id AND d.state <> 'open'), false),
       coalesce(s.currency <> $2::text, false),
       coalesce(s.time_zone <> $3::text, false),
       coalesce(s.cut_off <> make_time($4::integer / 60, $4::integer % 60, 0), false),
       coalesce(s.stock_terms <> $5::text, false),
       CASE WHEN EXISTS (SELECT FROM scheme o WHERE o.time_zone = $3::text)
            THEN true -- the list of names is slow to make
            ELSE $3::text !~ '^(posix/|right/|(posixrules|localtime|Factory)$)'
                 AND EXISTS (SELECT FROM pg_timezone_names WHERE name = $3::text) END,
       CASE WHEN EXISTS (SELECT FROM terms t WHERE t.scheme = s.id)
              OR EXISTS (SELECT FROM refund_value v WHERE v.scheme = s.id) THEN s.decimals END,
       given.bank_account <> '{}' AND s.operator->'bank_account' IS DISTINCT FROM given.bank_account
       AND EXISTS (SELECT FROM scheme o WHERE o.code <> given.code AND o.operator->'bank_account' = given.bank_account),
       coalesce(h.last_entry > 0 AND $9::date < coalesce(s.closed_on, 'infinity')
                AND day_start($9::date + 1, s.cut_off, s.time_zone) <= clock_timestamp() + interval '5 minutes', false)
  FROM (SELECT $1::text AS code,
               jsonb_strip_nulls(jsonb_build_object('iban', $6::text, 'account', $7::text, 'bank_code', $8::text)) AS bank_account
       ) AS given
  LEFT JOIN scheme s ON s.code = given.code
  LEFT JOIN scheme_head h ON h.scheme = s.id
