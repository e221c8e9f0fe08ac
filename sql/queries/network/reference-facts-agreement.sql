-- The facts that an agreement between two schemes depends on. $1: the home's code, $2: the host's; $3: the business
-- day of the host that it starts on; $4: codes of cup types. Exactly one row: currency and decimals of the home, then
-- of the host (null: it is not known); whether anything is posted or closed in either; whether the day begins more
-- than 5 minutes from now; the currency of the pair's agreements of other days (null: there are none); and which cup
-- types are not known, as places from 0. An opening that is proposed counts as posted.
SELECT o.currency, o.decimals, h.currency, h.decimals,
       EXISTS (SELECT FROM scheme_head n WHERE n.scheme IN (o.id, h.id) AND n.last_entry > 0)
       OR EXISTS (SELECT FROM proposed_event p WHERE p.scheme IN (o.id, h.id) AND p.kind = :kind_opening AND p.status = 'open')
       OR EXISTS (SELECT FROM business_day d WHERE d.scheme IN (o.id, h.id) AND d.state <> 'open'),
       coalesce(day_start($3::date, h.cut_off, h.time_zone) > clock_timestamp() + interval '5 minutes', false),
       (SELECT CASE WHEN a.in_host_currency THEN h.currency ELSE o.currency END FROM agreement a
         WHERE a.home = o.id AND a.host = h.id AND a.effective_date <> $3::date LIMIT 1),
       ARRAY(SELECT u.position - 1 FROM unnest($4::text[]) WITH ORDINALITY AS u(code, position)
              WHERE NOT EXISTS (SELECT FROM cup_type c WHERE c.code = u.code) ORDER BY u.position)
  FROM (SELECT $1::text AS home, $2::text AS host) AS given
  LEFT JOIN scheme o ON o.code = given.home
  LEFT JOIN scheme h ON h.code = given.host
