-- The facts that new values from business days on depend on. Arrays, with an element for each: $1 the scheme's code, $2
-- the cup type's ('' for terms), $3 the day. A row for each, in their order: whether scheme and cup type are known; the
-- scheme's decimals; whether anything is posted; whether anything is posted or closed; whether the day begins more than
-- 5 minutes from now; whether the value is the cup type's first, also among the rows before it, and the day not yet
-- closing; whether the day is more than 10000 days ago; whether it lies before the first day made. An opening that is
-- proposed counts as posted.
WITH given AS MATERIALIZED (
    SELECT g.*, min(g.day) OVER (PARTITION BY g.scheme, g.cup_type ORDER BY g.place
                                 ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING) AS earlier
      FROM unnest($1::text[], $2::text[], $3::date[]) WITH ORDINALITY AS g(scheme, cup_type, day, place)),
concerned AS MATERIALIZED (
    SELECT s.id, s.code, s.decimals, s.cut_off, s.time_zone,
           coalesce(h.last_entry > 0
                    OR EXISTS (SELECT FROM proposed_event p
                                WHERE p.scheme = s.id AND p.kind = :kind_opening AND p.status = 'open'), false) AS posted,
           (SELECT max(d.business_date) FROM business_day d WHERE d.scheme = s.id AND d.state <> 'open') AS last_cut,
           (SELECT min(d.business_date) FROM business_day d WHERE d.scheme = s.id) AS first_day
      FROM (SELECT DISTINCT scheme FROM given) AS named
      JOIN scheme s ON s.code = named.scheme
      LEFT JOIN scheme_head h ON h.scheme = s.id)
SELECT s.id IS NOT NULL,
       c.id IS NOT NULL,
       s.decimals,
       coalesce(s.posted, false),
       coalesce(s.posted OR s.last_cut IS NOT NULL, false),
       coalesce(day_start(g.day, s.cut_off, s.time_zone) > clock_timestamp() + interval '5 minutes', false),
       NOT EXISTS (SELECT FROM refund_value v WHERE v.scheme = s.id AND v.cup_type = c.id AND v.effective_date <= g.day)
           AND (g.earlier <= g.day) IS NOT TRUE AND (s.last_cut >= g.day) IS NOT TRUE,
       g.day < current_date - 10000,
       coalesce(g.day < s.first_day, false)
  FROM given g
  LEFT JOIN concerned s ON s.code::text = g.scheme
  LEFT JOIN cup_type c ON c.code = g.cup_type
 ORDER BY g.place
