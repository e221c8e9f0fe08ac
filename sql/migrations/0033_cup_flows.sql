-- What became of the cups that were issued in a day, whatever site took them back. No cup of these has an identity, so cups of a type
-- come back in the order in which they went out.

-- What a closed day did with the cups that customers of a scheme have. Kept with the particulars: from then on nothing of the day can
-- change. Cups are net of reversals, which count in the day that they post to.
CREATE TABLE cup_flow (
    scheme           integer NOT NULL,
    business_date    date NOT NULL, -- to which it posted
    cup_type         integer NOT NULL,
    opened           bigint NOT NULL, -- by an opening: with customers, or unaccounted …
    opened_forfeited bigint NOT NULL, -- … of these: unaccounted, which counts as forfeited
    issued           bigint NOT NULL,
    returned         bigint NOT NULL,
    forfeited        bigint NOT NULL,
    reinstated       bigint NOT NULL,
    PRIMARY KEY (scheme, business_date, cup_type)
);
GRANT SELECT ON cup_flow TO depositd_service;

-- The same from the entries of a day. A reversal's legs of cups are the mirror of those that it takes back.
CREATE FUNCTION cup_flow_of(of_scheme integer, of_day date)
    RETURNS TABLE (cup_type integer, opened bigint, opened_forfeited bigint, issued bigint, returned bigint, forfeited bigint,
                   reinstated bigint)
    LANGUAGE sql STABLE ROWS 10 AS $$
    WITH moved AS (
        SELECT account_cup_type(l.account) AS cup_type, coalesce(o.kind, e.kind) AS kind, l.amount,
               (l.amount > 0) <> (e.kind = 11) AS hands_out, l.account >> 48 = 38 AS is_unaccounted
          FROM business_day d
          JOIN entry e ON e.scheme = d.scheme AND e.entry BETWEEN d.first_entry AND d.last_entry
                      AND e.business_date = d.business_date
          LEFT JOIN LATERAL (
               SELECT r.kind FROM entry_reference f JOIN entry r ON r.scheme = f.scheme AND r.entry = f.referred
                WHERE e.kind = 11 AND f.scheme = e.scheme AND f.entry = e.entry) o ON true
         CROSS JOIN LATERAL unnest(e.accounts, e.amounts) AS l(account, amount)
         WHERE d.scheme = of_scheme AND d.business_date = of_day AND e.kind <= 15
           AND (l.account >> 48 = 36 OR l.account >> 48 = 38 AND coalesce(o.kind, e.kind) = 15))
    SELECT m.cup_type,
           coalesce(sum(m.amount) FILTER (WHERE m.kind = 15), 0)::bigint,
           coalesce(sum(m.amount) FILTER (WHERE m.kind = 15 AND m.is_unaccounted), 0)::bigint,
           coalesce(sum(m.amount) FILTER (WHERE m.kind IN (1, 2, 3) AND m.hands_out), 0)::bigint,
           coalesce(-sum(m.amount) FILTER (WHERE m.kind IN (1, 2, 3) AND NOT m.hands_out), 0)::bigint,
           coalesce(-sum(m.amount) FILTER (WHERE m.kind = 12), 0)::bigint,
           coalesce(sum(m.amount) FILTER (WHERE m.kind = 13), 0)::bigint
      FROM moved m
     GROUP BY m.cup_type
$$;

-- The days through `last`: as kept, the few others from their entries.
CREATE FUNCTION cup_flows(of_scheme integer, last date)
    RETURNS TABLE (business_date date, cup_type integer, opened bigint, opened_forfeited bigint, issued bigint, returned bigint,
                   forfeited bigint, reinstated bigint)
    LANGUAGE sql STABLE ROWS 1000 AS $$
    SELECT k.business_date, k.cup_type, k.opened, k.opened_forfeited, k.issued, k.returned, k.forfeited, k.reinstated
      FROM cup_flow k WHERE k.scheme = of_scheme AND k.business_date <= last
    UNION ALL
    SELECT d.business_date, f.*
      FROM business_day d CROSS JOIN LATERAL cup_flow_of(d.scheme, d.business_date) f
     WHERE d.scheme = of_scheme AND d.business_date <= last AND d.first_entry IS NOT NULL
       AND NOT EXISTS (SELECT FROM particulars p WHERE p.scheme = d.scheme AND p.business_date = d.business_date)
$$;

-- What became, through a business day, of the cups issued from `first` on: a row for each day of issue and each day of its end. Cups of a
-- type stand in a queue in the order of their issue; those of an opening are the oldest. Returns and forfeits take them from its head:
-- the n-th cup that leaves is the n-th that came. Of a day's, forfeits come first. What reversals and reinstatements take back was the
-- latest of its kind, as though it had never been: each sum is at most what it is on any later day. A cup that came back before
-- anything was out is the next one issued, and comes back on the day of its issue.
CREATE FUNCTION cup_fates(of_scheme integer, first date, through date)
    RETURNS TABLE (cup_type integer, issued_on date, fate text, ended_on date, cups bigint) -- fate: returned, forfeited, or out
    LANGUAGE sql STABLE ROWS 1000 AS $$
    WITH flow AS MATERIALIZED (SELECT * FROM cup_flows(of_scheme, through)),
    base AS ( -- what was before the first day; an opening was before anything else
        SELECT f.cup_type, sum(f.opened) + coalesce(sum(f.issued) FILTER (WHERE f.business_date < first), 0) AS came,
               coalesce(sum(f.returned) FILTER (WHERE f.business_date < first), 0) AS returned,
               sum(f.opened_forfeited) + coalesce(sum(f.forfeited - f.reinstated) FILTER (WHERE f.business_date < first), 0) AS forfeited
          FROM flow f GROUP BY f.cup_type),
    sums AS ( -- through each day
        SELECT b.cup_type, first - 1 AS day, b.came, b.returned, b.forfeited FROM base b
        UNION ALL
        SELECT f.cup_type, f.business_date, b.came + sum(f.issued) OVER so_far, b.returned + sum(f.returned) OVER so_far,
               b.forfeited + sum(f.forfeited - f.reinstated) OVER so_far
          FROM flow f JOIN base b USING (cup_type)
         WHERE f.business_date >= first
        WINDOW so_far AS (PARTITION BY f.cup_type ORDER BY f.business_date)),
    kept AS ( -- of these, what no later day took back
        SELECT s.cup_type, s.day, min(s.came) OVER later AS came, min(s.returned) OVER later AS returned,
               min(s.forfeited) OVER later AS forfeited
          FROM sums s WINDOW later AS (PARTITION BY s.cup_type ORDER BY s.day DESC)),
    mark AS ( -- the places in the queue at which a day's issues, forfeits or returns end
        SELECT k.cup_type, k.came AS place, k.day AS issued_on, NULL::integer AS left_at FROM kept k
        UNION ALL
        SELECT k.cup_type, lag(k.returned) OVER (PARTITION BY k.cup_type ORDER BY k.day) + k.forfeited, NULL,
               2 * (k.day - date '0001-01-01') FROM kept k
        UNION ALL
        SELECT k.cup_type, k.returned + k.forfeited, NULL, 2 * (k.day - date '0001-01-01') + 1 FROM kept k),
    piece AS ( -- between two marks all cups have one day of issue and one end: those of the next marks
        SELECT m.cup_type, m.place - lag(m.place) OVER (PARTITION BY m.cup_type ORDER BY m.place) AS cups,
               min(min(m.issued_on)) OVER onward AS issued_on, min(min(m.left_at)) OVER onward AS left_at
          FROM mark m WHERE m.place IS NOT NULL
         GROUP BY m.cup_type, m.place
        WINDOW onward AS (PARTITION BY m.cup_type ORDER BY m.place DESC))
    SELECT p.cup_type, p.issued_on, became.fate, became.ended_on, sum(p.cups)::bigint
      FROM piece p
     CROSS JOIN LATERAL (
           SELECT CASE p.left_at % 2 WHEN 1 THEN 'returned' WHEN 0 THEN 'forfeited' ELSE 'out' END,
                  CASE WHEN p.left_at IS NOT NULL THEN greatest(p.issued_on, date '0001-01-01' + p.left_at / 2) END) AS became(fate, ended_on)
     WHERE p.issued_on >= first
     GROUP BY p.cup_type, p.issued_on, became.fate, became.ended_on
$$;

-- How many cups of a week have come back through the last day kept: the figure of the start page. The week is the latest whose cups have had
-- 30 days; in a younger scheme, all days since its first.
CREATE TABLE return_rate_kept (
    scheme    integer PRIMARY KEY,
    first_day date NOT NULL,
    last_day  date NOT NULL,
    through   date NOT NULL,
    issued    bigint NOT NULL,
    returned  bigint NOT NULL
);
GRANT SELECT ON return_rate_kept TO depositd_service;

CREATE FUNCTION return_rate_of(of_scheme integer, through date)
    RETURNS TABLE (first_day date, last_day date, issued bigint, returned bigint)
    LANGUAGE sql STABLE ROWS 1 AS $$
    WITH shown AS (
        SELECT CASE WHEN week.ends >= begins THEN greatest(week.ends - 6, begins) ELSE begins END AS first_day,
               CASE WHEN week.ends >= begins THEN week.ends ELSE through END AS last_day
          FROM (SELECT min(d.business_date) AS begins FROM business_day d WHERE d.scheme = of_scheme) AS day,
               (SELECT date_trunc('week', (through - 29)::timestamp)::date - 1 AS ends) AS week)
    SELECT s.first_day, s.last_day, coalesce(sum(f.cups), 0)::bigint,
           coalesce(sum(f.cups) FILTER (WHERE f.fate = 'returned'), 0)::bigint
      FROM shown s LEFT JOIN LATERAL cup_fates(of_scheme, s.first_day, through) AS f ON f.issued_on <= s.last_day
     GROUP BY s.first_day, s.last_day
$$;

CREATE FUNCTION keep_cup_flows() RETURNS trigger LANGUAGE plpgsql SECURITY DEFINER SET search_path FROM CURRENT AS $$
BEGIN
    INSERT INTO cup_flow
    SELECT NEW.scheme, NEW.business_date, f.* FROM cup_flow_of(NEW.scheme, NEW.business_date) AS f
        ON CONFLICT DO NOTHING;
    INSERT INTO return_rate_kept AS k (scheme, through, first_day, last_day, issued, returned)
    SELECT NEW.scheme, NEW.business_date, r.* FROM return_rate_of(NEW.scheme, NEW.business_date) AS r
        ON CONFLICT (scheme) DO UPDATE
       SET through = excluded.through, first_day = excluded.first_day, last_day = excluded.last_day,
           issued = excluded.issued, returned = excluded.returned
     WHERE k.through <= excluded.through;
    RETURN NULL;
END $$;
CREATE TRIGGER keep_cup_flows AFTER INSERT ON particulars FOR EACH ROW EXECUTE FUNCTION keep_cup_flows();

INSERT INTO cup_flow
SELECT p.scheme, p.business_date, f.* FROM particulars p CROSS JOIN LATERAL cup_flow_of(p.scheme, p.business_date) AS f;
INSERT INTO return_rate_kept (scheme, through, first_day, last_day, issued, returned)
SELECT p.scheme, p.through, r.*
  FROM (SELECT scheme, max(business_date) AS through FROM particulars GROUP BY scheme) AS p
 CROSS JOIN LATERAL return_rate_of(p.scheme, p.through) AS r;
