-- Cups that a host sends home: its dispatches go to sites of another scheme, and that scheme's receipts and losses name them.

-- The scheme of the receiver, if it is another one than the sender's. The receipts and losses of the home are counted in the
-- row of the host's dispatch, under a lock on the pair of schemes.
ALTER TABLE transfer ADD COLUMN home integer CHECK (home <> scheme);
CREATE INDEX ON transfer (home, scheme, dispatch) WHERE home IS NOT NULL;
CREATE INDEX ON transfer (home, dispatch) WHERE home IS NOT NULL AND sent <> received + lost; -- the cups that a home waits for

-- The entries of a home that are receipts or losses of a host's dispatch. entry_reference has entries of one scheme only.
CREATE TABLE host_dispatch (
    scheme   integer NOT NULL, -- the home
    entry    bigint NOT NULL,
    host     integer NOT NULL CHECK (host <> scheme),
    dispatch bigint NOT NULL,  -- the host's entry
    kind     smallint NOT NULL,
    PRIMARY KEY (scheme, entry)
);
CREATE INDEX ON host_dispatch (host, dispatch);
GRANT SELECT, INSERT ON host_dispatch TO depositd_service;

-- Where the dispatch of a sighting is, if it is another scheme's.
ALTER TABLE sighting ADD COLUMN host integer;

DROP VIEW seen;
CREATE VIEW seen AS
    SELECT s.*, c.code AS scheme_code,
           row_number() OVER (PARTITION BY s.cup ORDER BY s.occurred_at, c.code COLLATE "C", s.entry, s.position) AS place
      FROM sighting s JOIN scheme c ON c.id = s.scheme
     WHERE s.reversed_by IS NULL;
GRANT SELECT ON seen TO depositd_service;

-- The home counts its receipts without the host's head, so two writers may move one request. Both hold the row of
-- following_place for what goes from the host home, and so does a withdrawal: they come here one after the other. Whoever
-- comes without it waits here for the first one, and then sees what that one did.
CREATE OR REPLACE FUNCTION shipment_list_anew(of_scheme integer, of_number integer) RETURNS void LANGUAGE plpgsql AS $$
BEGIN
    PERFORM FROM shipment_request r WHERE r.scheme = of_scheme AND r.number = of_number FOR NO KEY UPDATE;
    DELETE FROM shipment_listed l
     WHERE l.scheme = of_scheme AND l.number = of_number
       AND NOT EXISTS (SELECT FROM shipment_place p
                        WHERE p.scheme = of_scheme AND p.number = of_number AND p.site = l.site AND p.list = l.list);
    INSERT INTO shipment_listed
    SELECT p.scheme, p.site, p.list, p.number FROM shipment_place p WHERE p.scheme = of_scheme AND p.number = of_number
        ON CONFLICT DO NOTHING;
END $$;

-- The lists in which a request stands. If a part of what goes to another scheme is missing, the sender's accountant can do
-- nothing: the other one has the exception receipt_short.
CREATE OR REPLACE VIEW shipment_place AS
    SELECT s.scheme, p.site, l.list, s.number
      FROM shipment_standing s
     CROSS JOIN LATERAL (SELECT t.scheme <> s.scheme AS goes_home FROM site t WHERE t.id = s.receiver) AS way
     CROSS JOIN LATERAL (VALUES ('all', true),
                                (CASE WHEN s.short THEN 'short' WHEN s.on_road THEN 'in_transit' WHEN s.to_send THEN 'requested'
                                      WHEN s.withdrawn THEN 'withdrawn' ELSE 'arrived' END, true),
                                ('open', s.to_send OR s.on_road OR s.short), ('sender', s.to_send),
                                ('receiver', s.on_road), ('accountant', s.short AND NOT way.goes_home)) AS l(list, stands)
     CROSS JOIN LATERAL (VALUES (0), (s.sender), (s.receiver)) AS p(site)
     WHERE l.stands;

-- Moves only the request of the two sites that the cups go between: no dispatch within a scheme touches a request of cups
-- that go home. Always in the same order.
CREATE OR REPLACE FUNCTION shipment_moved() RETURNS trigger LANGUAGE plpgsql SECURITY DEFINER SET search_path FROM CURRENT AS $$
DECLARE
    named shipment_dispatch[] := ARRAY(
        SELECT d FROM (SELECT DISTINCT i.scheme, i.dispatch FROM inserted i) AS t
         CROSS JOIN LATERAL (SELECT * FROM shipment_dispatch k
                              WHERE k.scheme = t.scheme AND k.dispatch = t.dispatch LIMIT 1) AS d);
BEGIN
    IF named = '{}' THEN
        RETURN NULL;
    END IF;
    IF TG_OP = 'INSERT' THEN
        INSERT INTO shipment_sum AS s
        SELECT d.scheme, d.shipment, i.sender, i.receiver, i.cup_type, i.damaged, sum(i.sent), sum(i.received), sum(i.lost),
               sum(greatest(i.sent - i.received - i.lost, 0))
          FROM unnest(named) d JOIN inserted i ON (i.scheme, i.dispatch) = (d.scheme, d.dispatch)
         GROUP BY 1, 2, 3, 4, 5, 6
            ON CONFLICT (scheme, shipment, sender, receiver, cup_type, damaged) DO UPDATE
           SET sent = s.sent + excluded.sent, received = s.received + excluded.received, lost = s.lost + excluded.lost,
               missing = s.missing + excluded.missing;
    ELSE
        UPDATE shipment_sum s
           SET sent = s.sent + m.sent, received = s.received + m.received, lost = s.lost + m.lost, missing = s.missing + m.missing
          FROM (SELECT d.scheme, d.shipment, i.sender, i.receiver, i.cup_type, i.damaged, sum(i.sent - o.sent) AS sent,
                       sum(i.received - o.received) AS received, sum(i.lost - o.lost) AS lost,
                       sum(greatest(i.sent - i.received - i.lost, 0) - greatest(o.sent - o.received - o.lost, 0)) AS missing
                  FROM unnest(named) d
                  JOIN inserted i ON (i.scheme, i.dispatch) = (d.scheme, d.dispatch)
                  JOIN replaced o ON (o.scheme, o.dispatch, o.cup_type, o.damaged) = (i.scheme, i.dispatch, i.cup_type, i.damaged)
                 GROUP BY 1, 2, 3, 4, 5, 6) AS m
         WHERE (s.scheme, s.shipment, s.sender, s.receiver, s.cup_type, s.damaged)
             = (m.scheme, m.shipment, m.sender, m.receiver, m.cup_type, m.damaged);
    END IF;
    PERFORM shipment_stand_anew(named);
    PERFORM shipment_list_anew(m.scheme, m.number)
       FROM (SELECT DISTINCT q.scheme, q.number
               FROM (SELECT DISTINCT d.scheme, d.shipment, i.sender, i.receiver
                       FROM unnest(named) d JOIN inserted i ON (i.scheme, i.dispatch) = (d.scheme, d.dispatch)) AS d
              CROSS JOIN LATERAL (SELECT r.scheme, r.number FROM shipment_request r
                                   WHERE r.scheme = d.scheme AND r.shipment = d.shipment
                                     AND r.sender = d.sender AND r.receiver = d.receiver LIMIT 1) AS q
              ORDER BY 1, 2) AS m;
    RETURN NULL;
END $$;

-- The bearer of a loss of cups that another scheme sent home is a site of that dispatch.
CREATE OR REPLACE FUNCTION shrinkage_lines(of_scheme integer, first date, last date)
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
                        FROM (SELECT f.scheme, f.referred AS dispatch FROM entry_reference f
                               WHERE f.scheme = of_scheme AND f.entry = m.did_entry AND f.kind = 7
                              UNION ALL
                              SELECT h.host, h.dispatch FROM host_dispatch h WHERE h.scheme = of_scheme AND h.entry = m.did_entry) f
                        JOIN transfer t ON t.scheme = f.scheme AND t.dispatch = f.dispatch
                       LIMIT 1) END,
           m.cup_type,
           CASE WHEN m.did = 7 THEN 'lost' WHEN m.cups * m.sign > 0 THEN 'missing' ELSE 'found' END, m.cups,
           m.cups::numeric * (SELECT v.amount FROM refund_value v
                               WHERE v.scheme = of_scheme AND v.cup_type = m.cup_type AND v.effective_date <= m.business_date
                               ORDER BY v.effective_date DESC LIMIT 1)
      FROM moved m WHERE m.cups <> 0
$$;
