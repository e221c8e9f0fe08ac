-- Counts as work: how often a site is counted, which counts ask for a second one, and what counts and transits have lost.

-- Days after which the site is to be counted again; null: as the service's setting says.
ALTER TABLE site ADD COLUMN count_days integer CHECK (count_days BETWEEN 1 AND 3660);
CREATE OR REPLACE FUNCTION site_state(s site) RETURNS jsonb
    LANGUAGE sql STABLE
    RETURN jsonb_strip_nulls(jsonb_build_object(
        'scheme', (SELECT code FROM scheme WHERE id = s.scheme),
        'participant', (SELECT code FROM participant WHERE id = s.participant), 'name', s.name, 'kind', s.kind,
        'opened_on', s.opened_on, 'closed_on', s.closed_on, 'latitude', s.latitude, 'longitude', s.longitude, 'gln', s.gln,
        'par_stock', s.par_stock, 'count_days', s.count_days));

-- Exceptions of counts off by more than the tolerance that nobody has resolved: those of exception_open, with what was counted.
CREATE TABLE count_off_open (
    scheme   integer NOT NULL,
    entry    bigint NOT NULL,
    position smallint NOT NULL,
    site     integer NOT NULL,
    cup_type integer NOT NULL,
    PRIMARY KEY (scheme, entry, position)
);
CREATE OR REPLACE FUNCTION exception_opens() RETURNS trigger LANGUAGE plpgsql SECURITY DEFINER SET search_path FROM CURRENT AS $$
BEGIN
    INSERT INTO exception_open
    SELECT scheme, entry, position FROM inserted x
     WHERE NOT EXISTS (SELECT FROM exception_resolution z
                        WHERE z.scheme = x.scheme AND z.entry = x.entry AND z.position = x.position)
        ON CONFLICT DO NOTHING;
    INSERT INTO count_off_open
    SELECT scheme, entry, position, site, cup_type FROM inserted x
     WHERE kind = 'count_off'
       AND NOT EXISTS (SELECT FROM exception_resolution z
                        WHERE z.scheme = x.scheme AND z.entry = x.entry AND z.position = x.position)
        ON CONFLICT DO NOTHING;
    RETURN NULL;
END $$;
CREATE OR REPLACE FUNCTION exception_closes() RETURNS trigger LANGUAGE plpgsql SECURITY DEFINER SET search_path FROM CURRENT AS $$
BEGIN
    DELETE FROM exception_open o USING inserted z
     WHERE o.scheme = z.scheme AND o.entry = z.entry AND o.position = z.position;
    DELETE FROM count_off_open o USING inserted z
     WHERE o.scheme = z.scheme AND o.entry = z.entry AND o.position = z.position;
    RETURN NULL;
END $$;
INSERT INTO count_off_open
SELECT x.scheme, x.entry, x.position, x.site, x.cup_type
  FROM exception_open o JOIN exception x USING (scheme, entry, position) WHERE x.kind = 'count_off';
GRANT SELECT ON count_off_open TO depositd_service;

-- The counts that wait for a second one: off by more than the tolerance, neither reversed nor resolved, and no count of the site that
-- was made later names the cup type. A count that changed nothing has no leg, so the event says what was counted.
CREATE FUNCTION second_counts(of_scheme integer)
    RETURNS TABLE (entry bigint, "position" smallint, business_date date, site integer, cup_type integer, quantity bigint, amount bigint)
    LANGUAGE sql STABLE ROWS 100 AS $$
    SELECT x.entry, x.position, x.business_date, o.site, o.cup_type, x.quantity, x.amount
      FROM count_off_open o
      JOIN exception x ON x.scheme = o.scheme AND x.entry = o.entry AND x.position = o.position
      JOIN entry first ON first.scheme = o.scheme AND first.entry = o.entry
     CROSS JOIN LATERAL (SELECT format('"cup_type":"%s"', c.code) AS text FROM cup_type c WHERE c.id = o.cup_type) AS named
     WHERE o.scheme = of_scheme
       AND NOT EXISTS (SELECT FROM entry_reference r WHERE r.scheme = of_scheme AND r.referred = o.entry AND r.kind = 11)
       AND NOT EXISTS (SELECT FROM entry e
                        WHERE e.site = o.site AND e.kind = 10 AND e.entry > o.entry AND strpos(e.event, named.text) > 0
                          AND e.occurred_at >= first.occurred_at
                          AND NOT EXISTS (SELECT FROM entry_reference r
                                           WHERE r.scheme = of_scheme AND r.referred = e.entry AND r.kind = 11)
                       OFFSET 0)
$$;

-- The cups that counts have missed (+) or found (-), and that were lost in transit (+), a line for each entry and cup type. Reversals
-- take them away again. A loss is of the site that bears it, of none if the operator does. The amount is the value on the posting day.
CREATE FUNCTION shrinkage_lines(of_scheme integer, first date, last date)
    RETURNS TABLE (entry bigint, business_date date, kind smallint, event text, site integer, cup_type integer, what text, cups bigint,
                   amount numeric)
    LANGUAGE sql STABLE ROWS 1000 AS $$
    WITH span AS (
        SELECT min(d.first_entry) AS first_entry, max(d.last_entry) AS last_entry FROM business_day d
         WHERE d.scheme = of_scheme AND d.business_date BETWEEN first AND last),
    posted AS (
        SELECT e.*, e.entry AS did_entry, e.kind AS did, e.event AS said, 1 AS sign
          FROM span JOIN entry e ON e.scheme = of_scheme AND (e.kind = 7 OR e.kind = 10) AND e.kind > 3
                                AND e.entry BETWEEN span.first_entry AND span.last_entry
        UNION ALL
        SELECT e.*, r.entry, r.kind, r.event, -1
          FROM span
          JOIN entry e ON e.scheme = of_scheme AND e.kind = 11 AND e.kind > 3 AND e.entry BETWEEN span.first_entry AND span.last_entry
         CROSS JOIN LATERAL (SELECT o.entry, o.kind, o.event
                               FROM entry_reference f JOIN entry o ON o.scheme = f.scheme AND o.entry = f.referred
                              WHERE f.scheme = of_scheme AND f.entry = e.entry AND f.kind = 11 OFFSET 0) AS r
         WHERE r.kind = 7 OR r.kind = 10),
    moved AS ( -- what the accounts of unaccounted cups took
        SELECT p.entry, p.business_date, p.kind, p.event, p.site, p.did, p.did_entry, p.said, p.sign, account_cup_type(l.account) AS cup_type,
               sum(l.amount)::bigint AS cups
          FROM posted p, unnest(p.accounts, p.amounts) AS l(account, amount)
         WHERE p.business_date BETWEEN first AND last AND account_kind_of(l.account) = 38
         GROUP BY 1, 2, 3, 4, 5, 6, 7, 8, 9, 10)
    SELECT m.entry, m.business_date, m.kind, m.event,
           CASE WHEN m.did = 10 THEN m.site
                ELSE (SELECT CASE m.said::json ->> 'bearer' WHEN 'sender' THEN t.sender WHEN 'receiver' THEN t.receiver END
                        FROM entry_reference f JOIN transfer t ON t.scheme = f.scheme AND t.dispatch = f.referred
                       WHERE f.scheme = of_scheme AND f.entry = m.did_entry AND f.kind = 7 LIMIT 1) END,
           m.cup_type,
           CASE WHEN m.did = 7 THEN 'lost' WHEN m.cups * m.sign > 0 THEN 'missing' ELSE 'found' END, m.cups,
           m.cups::numeric * (SELECT v.amount FROM refund_value v
                               WHERE v.scheme = of_scheme AND v.cup_type = m.cup_type AND v.effective_date <= m.business_date
                               ORDER BY v.effective_date DESC LIMIT 1)
      FROM moved m WHERE m.cups <> 0
$$;
