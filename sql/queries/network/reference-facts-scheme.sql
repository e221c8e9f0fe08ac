-- The facts that changing schemes depends on. Arrays, with an element for each as it is to be: $1 code, $2 currency, $3
-- time zone, $4 cut-off in minutes, $5 stock terms, and its operator's bank account: $6 iban, or $7 account and $8
-- bank_code; $9 whether it has a last day, and $10 the day. A row for each, in their order: whether anything is posted
-- or closed; whether $2, $3, $4, $5 change it; whether the database knows the zone by an IANA name; the decimals that
-- its terms and refund values are written in, null: none are; whether it takes over a bank account that another scheme
-- has, after what the rows before it change; and whether something is posted and $10 ends it earlier, in the past or
-- within 5 minutes. An opening that is proposed counts as posted, and so does an agreement with another scheme.
WITH given AS MATERIALIZED (
    SELECT g.place, g.code, g.currency, g.time_zone, make_time(g.cut_off::integer / 60, g.cut_off::integer % 60, 0) AS cut_off,
           g.stock_terms, CASE WHEN g.has_closed_on THEN g.closed_on END AS closed_on,
           nullif(jsonb_strip_nulls(jsonb_build_object('iban', g.iban, 'account', g.account, 'bank_code', g.bank_code)), '{}')
               AS bank_account
      FROM unnest($1::text[], $2::text[], $3::text[], $4::bigint[], $5::text[], $6::text[], $7::text[], $8::text[],
                  $9::boolean[], $10::date[]) WITH ORDINALITY
           AS g(code, currency, time_zone, cut_off, stock_terms, iban, account, bank_code, has_closed_on, closed_on, place)),
named AS MATERIALIZED ( -- the list of the names of zones is slow to make
    SELECT time_zone FROM given EXCEPT SELECT time_zone FROM scheme),
zone AS MATERIALIZED (
    SELECT DISTINCT s.time_zone FROM scheme s
    UNION
    SELECT n.time_zone FROM named n
     WHERE n.time_zone !~ '^(posix/|right/|(posixrules|localtime|Factory)$)'
       AND n.time_zone IN (SELECT name FROM pg_timezone_names WHERE EXISTS (SELECT FROM named))),
shared AS MATERIALIZED (
    SELECT g.place FROM given g JOIN given o ON o.bank_account = g.bank_account AND o.place < g.place AND o.code <> g.code
    UNION
    SELECT g.place
      FROM given g
      JOIN scheme o ON o.operator->'bank_account' = g.bank_account AND o.code <> g.code
      LEFT JOIN given b ON b.code = o.code AND b.place < g.place
     WHERE b.code IS NULL)
SELECT coalesce(h.last_entry > 0
                OR EXISTS (SELECT FROM proposed_event w
                            WHERE w.scheme = s.id AND w.kind = :kind_opening AND w.status = 'open')
                OR EXISTS (SELECT FROM agreement a WHERE s.id IN (a.home, a.host))
                OR EXISTS (SELECT FROM business_day d WHERE d.scheme = s.id AND d.state <> 'open'), false),
       coalesce(s.currency <> given.currency, false),
       coalesce(s.time_zone <> given.time_zone, false),
       coalesce(s.cut_off <> given.cut_off, false),
       coalesce(s.stock_terms <> given.stock_terms, false),
       zone.time_zone IS NOT NULL,
       CASE WHEN EXISTS (SELECT FROM terms t WHERE t.scheme = s.id)
              OR EXISTS (SELECT FROM refund_value v WHERE v.scheme = s.id) THEN s.decimals END,
       shared.place IS NOT NULL AND s.operator->'bank_account' IS DISTINCT FROM given.bank_account,
       coalesce(h.last_entry > 0 AND given.closed_on < coalesce(s.closed_on, 'infinity')
                AND day_start(given.closed_on + 1, s.cut_off, s.time_zone) <= clock_timestamp() + interval '5 minutes', false)
  FROM given
  LEFT JOIN scheme s ON s.code = given.code
  LEFT JOIN scheme_head h ON h.scheme = s.id
  LEFT JOIN zone ON zone.time_zone = given.time_zone
  LEFT JOIN shared ON shared.place = given.place
 ORDER BY given.place
