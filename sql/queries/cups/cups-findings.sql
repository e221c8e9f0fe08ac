-- Compares each sighting of the cups that entries of scheme $1 after $2 through $3 concern with the one before it,
-- and keeps what comes to light. $4: now. A cup is concerned that such an entry names, brings, or takes a sighting
-- of back. So is a cup whose place before the sighting cups left, until the sighting, without being named, and a cup
-- whose gap is explained by an entry that was reversed. A cup that was named before anybody supplied it is a
-- stranger. Some strangers are concerned if there is room for more of them, or for fewer.
WITH moved AS MATERIALIZED (
    SELECT l.account, max(e.entry) AS entry, min(e.occurred_at) AS first_at
      FROM entry e CROSS JOIN LATERAL unnest(e.accounts, e.amounts) AS l(account, amount)
     WHERE e.scheme = $1::integer AND e.entry > $2::bigint AND e.entry <= $3::bigint AND l.amount < 0
       AND account_unit(l.account) <> 0
       AND EXISTS (SELECT FROM cup_finding WHERE NOT ended AND kind <> 'gap')
     GROUP BY l.account
    UNION ALL -- receipts and losses take cups that another scheme sent home from the road
    SELECT account_of(:account_in_transit, 0, account_cup_type(l.account)), max(e.entry), min(e.occurred_at)
      FROM host_dispatch h
      JOIN entry e ON e.scheme = h.scheme AND e.entry = h.entry
     CROSS JOIN LATERAL unnest(e.accounts, e.amounts) AS l(account, amount)
     WHERE h.scheme = $1::integer AND h.entry > $2::bigint AND h.entry <= $3::bigint AND account_kind_of(l.account) = :account_abroad
     GROUP BY 1),
touched AS MATERIALIZED (
    SELECT cup, max(entry) AS entry
      FROM (SELECT cup, entry FROM sighting WHERE scheme = $1::integer AND entry > $2::bigint AND entry <= $3::bigint
            UNION ALL
            SELECT s.cup, r.entry FROM entry_reference r JOIN sighting s ON s.scheme = r.scheme AND s.entry = r.referred
             WHERE r.scheme = $1::integer AND r.entry > $2::bigint AND r.entry <= $3::bigint AND r.kind = :kind_reversal
            UNION ALL
            SELECT f.cup, r.entry FROM entry_reference r JOIN cup_finding f ON f.other_scheme = r.scheme AND f.explained_by = r.referred
             WHERE r.scheme = $1::integer AND r.entry > $2::bigint AND r.entry <= $3::bigint AND r.kind IN (:kind_reversal, :kind_reversal_abroad)
               AND NOT f.ended AND f.kind = 'gap'
            UNION ALL -- an arrival in the home explained it, and was reversed
            SELECT f.cup, r.entry
              FROM entry_reference r
              JOIN host_dispatch h ON h.scheme = r.scheme AND h.entry = r.referred
              JOIN sighting b ON b.scheme = h.host AND b.host IS NULL AND b.dispatch = h.dispatch
              JOIN cup_finding f ON f.cup = b.cup AND f.other_scheme = b.scheme AND f.other_entry = b.entry
             WHERE r.scheme = $1::integer AND r.entry > $2::bigint AND r.entry <= $3::bigint AND r.kind = :kind_reversal
               AND NOT f.ended AND f.kind = 'gap'
            UNION ALL
            SELECT f.cup, m.entry FROM cup_finding f JOIN moved m ON m.account = f.left_from
              JOIN sighting s ON (s.scheme, s.entry, s.position) = (f.scheme, f.entry, f.position) AND s.occurred_at >= m.first_at
             WHERE NOT f.ended AND f.kind <> 'gap') AS any_of
     GROUP BY cup),
-- With what is known of each. It is looked up by itself: a join would read all cups that there are. Strangers that are
-- covered were supplied or opened without names, as far as known; those beyond are exceptions.
named AS MATERIALIZED (
    SELECT t.cup, t.entry, k.id, k.stranger_of, k.stranger_beyond
      FROM touched t
     CROSS JOIN LATERAL (SELECT c.id, c.stranger_of, c.stranger_beyond FROM cup c WHERE c.cup = t.cup OFFSET 0) AS k),
-- The room for other strangers than these: how many more are covered than now. Below 0: how many fewer.
room AS MATERIALIZED (
    SELECT t.cup_type, max(t.entry) AS entry,
           coalesce((SELECT sum(s.unnamed) FROM cup_supply s WHERE s.cup_type = t.cup_type), 0)
           - coalesce((SELECT g.covered FROM stranger_sum g WHERE g.cup_type = t.cup_type), 0)
           + (SELECT count(*) FROM named n WHERE n.stranger_of = t.cup_type AND NOT n.stranger_beyond) AS cups
      FROM (SELECT cup_type, entry FROM cup_supply WHERE scheme = $1::integer AND entry > $2::bigint
            UNION ALL
            SELECT stranger_of, $3::bigint FROM named WHERE stranger_of IS NOT NULL) AS t
     GROUP BY 1),
others AS MATERIALIZED (
    SELECT k.cup, r.entry, k.id, k.stranger_of, k.stranger_beyond
      FROM room r
     CROSS JOIN LATERAL (
           (SELECT * FROM cup c
             WHERE c.stranger_of = r.cup_type AND NOT c.stranger_beyond AND c.cup NOT IN (SELECT cup FROM touched)
             ORDER BY c.cup DESC LIMIT greatest(-r.cups, 0)::bigint)
           UNION ALL
           (SELECT * FROM cup c
             WHERE c.stranger_of = r.cup_type AND c.stranger_beyond AND c.cup NOT IN (SELECT cup FROM touched)
             ORDER BY c.cup LIMIT greatest(r.cups, 0)::bigint)) AS k),
concerned AS MATERIALIZED (
    SELECT * FROM named UNION ALL SELECT * FROM others),
-- A station is where a cup is looked for: a site, with its sound and its damaged cups; a dispatch; or a place of
-- the scheme.
walked AS MATERIALIZED (
    SELECT s.*, c.id, account_kind_of(s.came_from) AS from_kind, account_kind_of(s.went_to) AS to_kind,
           account_cup_type(s.went_to) AS cup_type,
           CASE WHEN account_kind_of(s.came_from) IN (:accounts_stock) THEN 'site ' || account_owner(s.came_from)
                WHEN account_kind_of(s.came_from) = :account_in_transit
                THEN format('dispatch %s %s', coalesce(s.host, s.scheme), s.dispatch)
                ELSE account_kind_of(s.came_from)::text END AS from_station,
           CASE WHEN account_kind_of(s.went_to) IN (:accounts_stock) THEN 'site ' || account_owner(s.went_to)
                WHEN account_kind_of(s.went_to) = :account_in_transit THEN format('dispatch %s %s', s.scheme, s.dispatch)
                ELSE account_kind_of(s.went_to)::text END AS to_station
      FROM seen s JOIN cup c USING (cup) WHERE s.cup = ANY (ARRAY(SELECT cup FROM concerned))),
paired AS MATERIALIZED (
    SELECT w.*, lag(w.to_station) OVER upto AS before_station, lag(w.to_kind) OVER upto AS before_kind,
           lag(w.went_to) OVER upto AS before_account, lag(w.scheme) OVER upto AS before_scheme,
           lag(w.entry) OVER upto AS before_entry, lag(w.occurred_at) OVER upto AS before_at,
           lag(w.dispatch) OVER upto AS before_dispatch,
           count(*) FILTER (WHERE w.to_kind = :account_with_customers) OVER (upto ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING) AS issues,
           count(*) FILTER (WHERE w.from_kind = :account_with_customers AND w.kind IN (:kinds_counter))
               OVER (upto ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING) AS returns,
           count(*) FILTER (WHERE w.from_kind = :account_supply) OVER (upto ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING) AS supplied,
           count(*) OVER (PARTITION BY w.scheme, w.entry, w.cup, w.from_station ORDER BY w.position) > 1 AS again
      FROM walked w WINDOW upto AS (PARTITION BY w.cup ORDER BY w.place)),
-- The cups that more than one scheme has to do with. Most cups are not among them, and cost no more below.
shared AS MATERIALIZED (
    SELECT cup FROM walked GROUP BY cup
    HAVING min(least(scheme, home)) <> max(greatest(scheme, home))),
-- Each time that such a cup went out, and each time that it came back with the deposit of a scheme.
issued AS MATERIALIZED (
    SELECT w.cup, w.scheme, w.entry, row_number() OVER (PARTITION BY w.cup ORDER BY w.place) AS nth
      FROM walked w WHERE w.to_kind = :account_with_customers AND w.cup IN (SELECT cup FROM shared)),
returned AS MATERIALIZED (
    SELECT w.cup, w.scheme, w.entry, coalesce(w.home, w.scheme) AS home, row_number() OVER (PARTITION BY w.cup ORDER BY w.place) AS nth
      FROM walked w WHERE w.from_kind = :account_with_customers AND w.kind IN (:kinds_counter) AND w.cup IN (SELECT cup FROM shared)),
matched AS (
    SELECT p.*, CASE WHEN again THEN 'cup_twice'
                     WHEN from_kind = :account_supply THEN CASE WHEN supplied > 0 THEN 'cup_supplied_twice' END
                     WHEN before_station IS NULL THEN 'cup_never_supplied'
                     WHEN before_station = from_station THEN NULL
                     WHEN before_kind IN (:account_retired, :account_unaccounted) THEN 'cup_after_end'
                     WHEN from_kind = :account_with_customers THEN 'cup_not_out'
                     WHEN to_kind = :account_with_customers THEN 'cup_issued_elsewhere'
                     ELSE 'cup_elsewhere' END AS kind_found
      FROM paired p),
suspected AS MATERIALIZED (
    SELECT m.*, row_number() OVER (PARTITION BY kind_found, cup_type ORDER BY occurred_at, entry, position) AS of_kind
      FROM matched m),
-- Cups of a type that were supplied or opened without ids may be those that nobody has named before. Entries that
-- were not looked at yet don't count.
unnamed AS MATERIALIZED (
    SELECT t.cup_type,
           coalesce((SELECT sum(s.unnamed) FROM cup_supply s WHERE s.cup_type = t.cup_type), 0)
           - coalesce((SELECT g.covered FROM stranger_sum g WHERE g.cup_type = t.cup_type), 0)
           + (SELECT count(*) FROM concerned g WHERE g.stranger_of = t.cup_type AND NOT g.stranger_beyond) AS cups
      FROM (SELECT DISTINCT cup_type FROM suspected WHERE kind_found = 'cup_never_supplied') t),
-- A mismatch is a gap if, since the last sighting, an entry moved cups of the type out of that place and named
-- fewer. At a site it is an entry of the site, from the road one of the cup's own dispatch, and elsewhere it is in a
-- stretch that is known to have such entries.
judged AS MATERIALIZED (
    SELECT s.*, w.entry AS explained_by,
           CASE WHEN kind_found = 'cup_never_supplied'
                THEN CASE WHEN s.of_kind > (SELECT u.cups FROM unnamed u WHERE u.cup_type = s.cup_type) THEN kind_found END
                WHEN w.entry IS NOT NULL OR came.home THEN 'gap'
                ELSE kind_found END AS kind_judged
      FROM suspected s
      LEFT JOIN LATERAL (
           SELECT e.entry
             FROM (SELECT f.* FROM entry f
                    WHERE account_kind_of(s.before_account) IN (:accounts_stock) AND f.site = account_owner(s.before_account)
                      AND f.entry >= coalesce((SELECT min(d.first_entry) FROM business_day d
                                                WHERE d.scheme = s.before_scheme AND d.ends_at > s.before_at), 0)
                   UNION ALL
                   SELECT f.* FROM entry_reference r JOIN entry f ON f.scheme = r.scheme AND f.entry = r.entry
                    WHERE account_kind_of(s.before_account) = :account_in_transit
                      AND r.scheme = s.before_scheme AND r.referred = s.before_dispatch
                   UNION ALL
                   SELECT f.* FROM unnamed_stretch u
                     JOIN entry f ON f.scheme = u.scheme AND f.entry BETWEEN u.first_entry AND u.last_entry
                    WHERE account_kind_of(s.before_account) NOT IN (:accounts_stock, :account_in_transit)
                      AND u.scheme = s.before_scheme AND u.account = s.before_account
                      AND u.last_at > s.before_at AND u.first_at <= s.occurred_at) AS e
            WHERE s.kind_found IN ('cup_not_out', 'cup_issued_elsewhere', 'cup_elsewhere')
              AND e.scheme = s.before_scheme AND e.occurred_at > s.before_at AND e.occurred_at <= s.occurred_at
              AND e.entry <= (SELECT l.entry FROM sighting_place l WHERE l.scheme = s.before_scheme)
              AND e.entry <> s.before_entry AND (e.scheme <> s.scheme OR e.entry <> s.entry)
              AND e.kind NOT IN (:kind_reversal, :kind_reversal_abroad)
              AND NOT EXISTS (SELECT FROM entry_reference r
                               WHERE r.scheme = e.scheme AND r.referred = e.entry AND r.kind IN (:kind_reversal, :kind_reversal_abroad))
              AND (SELECT -sum(l.amount) FROM unnest(e.accounts, e.amounts) AS l(account, amount)
                    WHERE l.account = s.before_account AND l.amount < 0)
                  > (SELECT count(*) FROM sighting n
                      WHERE n.scheme = e.scheme AND n.entry = e.entry AND n.came_from = s.before_account
                        AND n.went_to <> n.came_from)
            LIMIT 1) w ON true
      LEFT JOIN LATERAL ( -- an arrival in the home of cups that the scheme before had sent there
           SELECT true AS home
             FROM host_dispatch h
             JOIN entry e ON e.scheme = h.scheme AND e.entry = h.entry
            WHERE s.kind_found IN ('cup_not_out', 'cup_issued_elsewhere', 'cup_elsewhere')
              AND account_kind_of(s.before_account) = :account_in_transit AND h.host = s.before_scheme AND h.dispatch = s.before_dispatch
              AND e.occurred_at > s.before_at AND e.occurred_at <= s.occurred_at
              AND e.entry <= (SELECT l.entry FROM sighting_place l WHERE l.scheme = e.scheme)
              AND (e.entry <> s.entry OR e.scheme <> s.scheme)
              AND NOT EXISTS (SELECT FROM entry_reference r
                               WHERE r.scheme = e.scheme AND r.referred = e.entry AND r.kind = :kind_reversal)
              AND (SELECT -sum(l.amount) FROM unnest(e.accounts, e.amounts) AS l(account, amount)
                    WHERE account_kind_of(l.account) = :account_abroad AND account_cup_type(l.account) = account_cup_type(s.before_account))
                  > (SELECT count(*) FROM sighting n
                      WHERE n.scheme = e.scheme AND n.entry = e.entry AND n.came_from = s.before_account
                        AND n.went_to <> n.came_from)
            LIMIT 1) came ON true),
found AS MATERIALIZED (
    SELECT cup, scheme, entry, position, kind_judged AS kind_of, before_scheme, before_entry, before_account, explained_by,
           site, cup_type
      FROM judged WHERE kind_judged IS NOT NULL
    UNION ALL
    SELECT p.cup, p.scheme, p.entry, p.position, 'cup_other_type', NULL, NULL, NULL, NULL, p.site, p.cup_type
      FROM paired p JOIN cup_type t ON t.id = p.cup_type
     WHERE left(t.grai, 14) <> left(p.id, 14)
    UNION ALL -- its last issue was in another scheme than the one whose deposit it is said to carry
    SELECT p.cup, p.scheme, p.entry, p.position, 'home_differs', i.scheme, i.entry, NULL, NULL, p.site, p.cup_type
      FROM paired p JOIN issued i ON i.cup = p.cup AND i.nth = p.issues
     WHERE p.from_kind = :account_with_customers AND p.kind IN (:kinds_counter) AND i.scheme <> coalesce(p.home, p.scheme)
    UNION ALL -- it visits: it came back with another scheme's deposit than that of the scheme that issues it now
    SELECT p.cup, p.scheme, p.entry, p.position, 'visitor_issued', r.scheme, r.entry, NULL, NULL, p.site, p.cup_type
      FROM paired p JOIN returned r ON r.cup = p.cup AND r.nth = p.returns
     WHERE p.to_kind = :account_with_customers AND p.kind IN (:kinds_counter) AND r.home <> p.scheme AND r.scheme = p.scheme),
-- Each cup with the stranger that it was until now, and the one that it is from now on.
turned AS MATERIALIZED (
    SELECT g.cup, g.stranger_of AS was_of, g.stranger_beyond AS was_beyond, j.cup_type AS is_of, j.kind_judged IS NOT NULL AS is_beyond
      FROM concerned g LEFT JOIN judged j ON j.cup = g.cup AND j.kind_found = 'cup_never_supplied'),
stranger AS (
    UPDATE cup c SET stranger_of = t.is_of, stranger_beyond = t.is_beyond
      FROM turned t
     WHERE c.cup = ANY (ARRAY(SELECT cup FROM turned WHERE (was_of, was_beyond) IS DISTINCT FROM (is_of, is_beyond))) AND c.cup = t.cup),
summed AS (
    INSERT INTO stranger_sum AS g (cup_type, covered, beyond)
    SELECT cup_type, coalesce(sum(cups) FILTER (WHERE NOT beyond), 0), coalesce(sum(cups) FILTER (WHERE beyond), 0)
      FROM (SELECT was_of AS cup_type, was_beyond AS beyond, -1 AS cups FROM turned
            UNION ALL
            SELECT is_of, is_beyond, 1 FROM turned) AS change
     WHERE cup_type IS NOT NULL
     GROUP BY 1
        ON CONFLICT (cup_type) DO UPDATE SET covered = g.covered + excluded.covered, beyond = g.beyond + excluded.beyond),
over AS (
    UPDATE cup_finding f SET ended = true
      FROM concerned g
     WHERE NOT f.ended AND f.cup = ANY (ARRAY(SELECT cup FROM concerned)) AND f.cup = g.cup
       AND NOT EXISTS (SELECT FROM found n WHERE (n.scheme, n.entry, n.position, n.kind_of) = (f.scheme, f.entry, f.position, f.kind))
    RETURNING f.scheme, f.entry, f.exception, g.entry AS by_entry),
resolved AS (
    INSERT INTO exception_resolution (scheme, entry, position, resolved_at, by_entry, note)
    SELECT o.scheme, o.entry, o.exception, $4::timestamptz, CASE WHEN o.scheme = $1::integer THEN o.by_entry END,
           'a later entry explains it'
      FROM over o WHERE o.exception IS NOT NULL
        ON CONFLICT DO NOTHING),
-- An entry has room for so many exceptions. A finding beyond them stands without one.
fresh AS MATERIALIZED (
    SELECT n.*, CASE WHEN n.number <= 32767 THEN n.number END AS exception
      FROM (SELECT n.*, CASE WHEN n.kind_of <> 'gap'
                             THEN 1000 + coalesce((SELECT max(f.exception) - 999 FROM cup_finding f
                                                    WHERE f.scheme = n.scheme AND f.entry = n.entry), 0)
                                  + row_number() OVER (PARTITION BY n.scheme, n.entry, n.kind_of = 'gap' ORDER BY n.position, n.kind_of) - 1 END AS number
              FROM found n
             WHERE NOT EXISTS (SELECT FROM cup_finding f
                                WHERE NOT f.ended AND (f.scheme, f.entry, f.position, f.kind) = (n.scheme, n.entry, n.position, n.kind_of))) AS n),
-- A finding may stand on, and yet follow another sighting than before: a sighting that was posted late, or that is
-- left after a reversal.
follows AS (
    UPDATE cup_finding f
       SET other_scheme = n.before_scheme, other_entry = n.before_entry, left_from = n.before_account, explained_by = n.explained_by
      FROM found n
     WHERE NOT f.ended AND (f.scheme, f.entry, f.position, f.kind) = (n.scheme, n.entry, n.position, n.kind_of)
       AND (f.other_scheme, f.other_entry, f.left_from, f.explained_by)
           IS DISTINCT FROM (n.before_scheme, n.before_entry, n.before_account, n.explained_by)),
kept AS (
    INSERT INTO cup_finding (cup, scheme, entry, position, kind, other_scheme, other_entry, left_from, explained_by, exception)
    SELECT cup, scheme, entry, position, kind_of, before_scheme, before_entry, before_account, explained_by, exception FROM fresh)
INSERT INTO exception (scheme, entry, position, business_date, kind, site, cup_type)
SELECT f.scheme, f.entry, f.exception,
       coalesce((SELECT max(d.business_date) FROM business_day d
                  WHERE d.scheme = f.scheme AND d.state = 'open' AND d.starts_at <= $4::timestamptz),
                (SELECT max(d.business_date) FROM business_day d WHERE d.scheme = f.scheme)),
       f.kind_of, f.site, f.cup_type
  FROM fresh f WHERE f.exception IS NOT NULL
