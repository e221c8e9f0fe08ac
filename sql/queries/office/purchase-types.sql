-- The cup types that scheme $1 has had, by id, with what a purchase needs to know. History is the business days $2
-- through $3; losses count from the end of the day of an opening, if that lies in it. Per type: its mass; cups supplied
-- and returned, ever; retired, damaged and unaccounted by which the history ends with more;
-- forfeited less reinstated in it; cups at sites, on the road and with customers now; of the cups that came back in the
-- history, first in, first out: how many, and their days out; of the known cups that came back in it: how many, and
-- their seconds out; by how many cups more customers had at the end of each week of the history, the latest first.
WITH asked AS (
    SELECT greatest($2::date - 1, (SELECT max(e.business_date) FROM entry e
                                    WHERE e.scheme = $1::integer AND e.kind = :kind_opening
                                      AND e.business_date <= $3::date)) AS before),
flow AS MATERIALIZED (
    SELECT f.*, f.opened - f.opened_forfeited + f.issued - f.returned - f.forfeited + f.reinstated AS more_out
      FROM cup_flows($1::integer, $3::date) AS f),
flows AS (
    SELECT cup_type, sum(returned)::bigint AS returned,
           coalesce(sum(forfeited - reinstated) FILTER (WHERE business_date > before), 0)::bigint AS forfeited
      FROM flow, asked GROUP BY 1),
week AS (
    SELECT cup_type, ($3 - business_date) / 7 AS week, sum(more_out)::bigint AS more_out
      FROM flow WHERE business_date >= $2 GROUP BY 1, 2),
weeks AS (
    SELECT f.cup_type, array_agg(coalesce(w.more_out, 0) ORDER BY n) AS more_out
      FROM flows f CROSS JOIN generate_series(0, ($3 - $2) / 7) AS n
      LEFT JOIN week w ON w.cup_type = f.cup_type AND w.week = n
     GROUP BY 1),
now_at AS (
    SELECT cup_type, coalesce(-sum(amount) FILTER (WHERE kind = :account_supply), 0)::bigint AS supplied,
           coalesce(sum(amount) FILTER (WHERE kind = :account_site_stock), 0)::bigint AS at_sites,
           coalesce(sum(amount) FILTER (WHERE kind = :account_in_transit), 0)::bigint AS on_road,
           coalesce(sum(amount) FILTER (WHERE kind = :account_with_customers), 0)::bigint AS with_customers
      FROM kinds_through($1, 'infinity') GROUP BY 1),
gone AS (
    SELECT cup_type, coalesce(sum(amount) FILTER (WHERE kind = :account_retired), 0)::bigint AS retired,
           coalesce(sum(amount) FILTER (WHERE kind = :account_damaged), 0)::bigint AS damaged,
           coalesce(sum(amount) FILTER (WHERE kind = :account_unaccounted), 0)::bigint AS unaccounted
      FROM (SELECT k.kind, k.cup_type, k.amount FROM kinds_through($1, $3) AS k
            UNION ALL
            SELECT k.kind, k.cup_type, -k.amount FROM asked CROSS JOIN LATERAL kinds_through($1, before) AS k) AS moved
     GROUP BY 1),
queue AS (
    SELECT f.cup_type, sum(f.cups)::bigint AS cups, sum(f.cups * (f.ended_on - f.issued_on))::bigint AS days
      FROM cup_fates($1, $2 - 364, $3) AS f
     WHERE f.fate = 'returned' AND f.ended_on >= $2
     GROUP BY 1),
known AS (
    SELECT account_cup_type(s.came_from) AS cup_type, count(*) AS cups,
           sum(extract(epoch FROM s.occurred_at - b.occurred_at))::bigint AS seconds
      FROM sighting s
     CROSS JOIN LATERAL ( -- the sighting before, in the same order as everywhere
           SELECT i.occurred_at, i.went_to
             FROM sighting i JOIN scheme c ON c.id = i.scheme JOIN scheme h ON h.id = s.scheme
            WHERE i.cup = s.cup AND i.reversed_by IS NULL AND i.kind IN (:kinds_counter) AND i.occurred_at <= s.occurred_at
              AND (i.occurred_at, c.code COLLATE "C", i.entry, i.position) < (s.occurred_at, h.code COLLATE "C", s.entry, s.position)
            ORDER BY i.occurred_at DESC, c.code COLLATE "C" DESC, i.entry DESC, i.position DESC LIMIT 1) b
     WHERE s.scheme = $1 AND s.business_date BETWEEN $2 AND $3 AND s.reversed_by IS NULL
       AND s.kind IN (:kinds_counter) AND account_kind_of(s.went_to) <> :account_with_customers
       AND account_kind_of(b.went_to) = :account_with_customers
     GROUP BY 1)
SELECT t.id, t.mass_g, coalesce(now_at.supplied, 0), coalesce(flows.returned, 0),
       coalesce(gone.retired, 0), coalesce(gone.damaged, 0), coalesce(gone.unaccounted, 0), coalesce(flows.forfeited, 0),
       coalesce(now_at.at_sites, 0), coalesce(now_at.on_road, 0), coalesce(now_at.with_customers, 0),
       coalesce(queue.cups, 0), coalesce(queue.days, 0), coalesce(known.cups, 0), coalesce(known.seconds, 0),
       weeks.more_out
  FROM cup_type t
  LEFT JOIN flows ON flows.cup_type = t.id
  LEFT JOIN weeks ON weeks.cup_type = t.id
  LEFT JOIN now_at ON now_at.cup_type = t.id
  LEFT JOIN gone ON gone.cup_type = t.id
  LEFT JOIN queue ON queue.cup_type = t.id
  LEFT JOIN known ON known.cup_type = t.id
 WHERE now_at.supplied <> 0 OR flows.cup_type IS NOT NULL
 ORDER BY t.id
