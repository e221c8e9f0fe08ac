-- The facts that agreements between two schemes depend on. Arrays, with an element for each: $1 the home's code, $2 the
-- host's, $3 the business day of the host that it starts on, $4 its currency. A row for each, in their order: currency
-- and decimals of the home, then of the host (null: it is not known); whether anything is posted or closed in either;
-- whether the day begins more than 5 minutes from now; and the currency of the pair's agreements of other days, or of
-- its rows before this one (null: there are none). An opening that is proposed counts as posted.
WITH named AS MATERIALIZED (
    SELECT g.home, g.host, g.day, g.place, o.id AS home_id, h.id AS host_id, h.cut_off, h.time_zone,
           o.currency AS home_currency, o.decimals AS home_decimals, h.currency AS host_currency, h.decimals AS host_decimals,
           CASE WHEN g.currency IN (o.currency, h.currency) THEN g.currency END AS currency
      FROM unnest($1::text[], $2::text[], $3::date[], $4::text[]) WITH ORDINALITY AS g(home, host, day, currency, place)
      LEFT JOIN scheme o ON o.code = g.home
      LEFT JOIN scheme h ON h.code = g.host),
used AS MATERIALIZED (
    SELECT s.id
      FROM (SELECT home_id AS id FROM named UNION SELECT host_id FROM named) AS s
     WHERE EXISTS (SELECT FROM scheme_head n WHERE n.scheme = s.id AND n.last_entry > 0)
        OR EXISTS (SELECT FROM proposed_event p WHERE p.scheme = s.id AND p.kind = :kind_opening AND p.status = 'open')
        OR EXISTS (SELECT FROM business_day d WHERE d.scheme = s.id AND d.state <> 'open'))
SELECT n.home_currency, n.home_decimals, n.host_currency, n.host_decimals,
       EXISTS (SELECT FROM used u WHERE u.id IN (n.home_id, n.host_id)),
       coalesce(day_start(n.day, n.cut_off, n.time_zone) > clock_timestamp() + interval '5 minutes', false),
       coalesce(max(n.currency) OVER (PARTITION BY n.home, n.host ORDER BY n.place ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING),
                (SELECT CASE WHEN a.in_host_currency THEN n.host_currency ELSE n.home_currency END FROM agreement a
                  WHERE a.home = n.home_id AND a.host = n.host_id AND a.effective_date <> n.day LIMIT 1))
  FROM named n
 ORDER BY n.place
