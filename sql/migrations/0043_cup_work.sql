-- Shipments are summed as their dispatches move, so a dispatch costs the same however many others name its shipment.
-- A dispatch fulfils a request only between the two sites that were asked. Gaps know which entry explains them.

-- The cups of the dispatches that name a shipment, by the way that they go. The shipment may be one that nobody has
-- asked for here. Triggers on transfer keep it, as the owner.
CREATE TABLE shipment_sum (
    scheme   integer NOT NULL,
    shipment uuid NOT NULL,
    sender   integer NOT NULL,
    receiver integer NOT NULL,
    cup_type integer NOT NULL,
    damaged  boolean NOT NULL,
    sent     bigint NOT NULL,
    received bigint NOT NULL,
    lost     bigint NOT NULL,
    missing  bigint NOT NULL, -- of each dispatch, what was sent and has neither arrived nor been given up
    PRIMARY KEY (scheme, shipment, sender, receiver, cup_type, damaged)
);

-- Where each of these dispatches stands, and how many of a shipment stand so.
ALTER TABLE shipment_dispatch ADD COLUMN stands text CHECK (stands IN ('on_road', 'short')); -- null: nothing is missing
CREATE TABLE shipment_stands (
    scheme   integer NOT NULL,
    shipment uuid NOT NULL,
    sender   integer NOT NULL,
    receiver integer NOT NULL,
    on_road  bigint NOT NULL, -- dispatches of which nothing has come
    short    bigint NOT NULL, -- dispatches of which a part has come
    PRIMARY KEY (scheme, shipment, sender, receiver)
);

DROP VIEW shipment_place, shipment_standing, shipment_sent;

-- What was sent for a request, and what became of it.
CREATE VIEW shipment_sent AS
    SELECT r.scheme, r.number, s.cup_type, s.damaged, s.sent, s.received, s.lost, s.missing
      FROM shipment_request r
      JOIN shipment_sum s ON (s.scheme, s.shipment, s.sender, s.receiver) = (r.scheme, r.shipment, r.sender, r.receiver);

-- Who has to do something about a request. A dispatch of which nothing has come waits for its receiver; if a part has
-- come, it waits for somebody to find the rest, or to give it up.
CREATE VIEW shipment_standing AS
    SELECT r.scheme, r.number, r.sender, r.receiver, w.number IS NOT NULL AS withdrawn,
           w.number IS NULL AND EXISTS (
               SELECT FROM shipment_line l
                 LEFT JOIN shipment_sum s ON (s.scheme, s.shipment, s.sender, s.receiver, s.cup_type, s.damaged)
                                           = (r.scheme, r.shipment, r.sender, r.receiver, l.cup_type, l.damaged)
                WHERE l.scheme = r.scheme AND l.number = r.number AND l.cups > coalesce(s.sent, 0)) AS to_send,
           coalesce(d.on_road > 0, false) AS on_road, coalesce(d.short > 0, false) AS short
      FROM shipment_request r
      LEFT JOIN shipment_withdrawal w ON w.scheme = r.scheme AND w.number = r.number
      LEFT JOIN shipment_stands d ON (d.scheme, d.shipment, d.sender, d.receiver) = (r.scheme, r.shipment, r.sender, r.receiver);

-- The lists in which a request stands: of its scheme (site 0) and of both sites.
CREATE VIEW shipment_place AS
    SELECT s.scheme, p.site, l.list, s.number
      FROM shipment_standing s
     CROSS JOIN LATERAL (VALUES ('all', true),
                                (CASE WHEN s.short THEN 'short' WHEN s.on_road THEN 'in_transit' WHEN s.to_send THEN 'requested'
                                      WHEN s.withdrawn THEN 'withdrawn' ELSE 'arrived' END, true),
                                ('open', s.to_send OR s.on_road OR s.short), ('sender', s.to_send),
                                ('receiver', s.on_road), ('accountant', s.short)) AS l(list, stands)
     CROSS JOIN LATERAL (VALUES (0), (s.sender), (s.receiver)) AS p(site)
     WHERE l.stands;

-- Dispatches, receipts or losses were recorded. The link to the shipment is written before the cups. Few dispatches
-- have one: all others cost two probes of an index.
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
       FROM (SELECT DISTINCT r.scheme, r.number
               FROM (SELECT DISTINCT d.scheme, d.shipment FROM unnest(named) d) AS d
              CROSS JOIN LATERAL (SELECT q.scheme, q.number FROM shipment_request q
                                   WHERE q.scheme = d.scheme AND q.shipment = d.shipment LIMIT 1) AS r) AS m;
    RETURN NULL;
END $$;

-- Where a dispatch stands follows from all of its cups. The statement sees how it stood before. A plan that was made
-- while there were few dispatches shall not read all of them once there are many.
CREATE FUNCTION shipment_stand_anew(named shipment_dispatch[]) RETURNS void LANGUAGE sql SET enable_seqscan = off AS $$
    WITH now_stands AS (
        SELECT d.scheme, d.dispatch, d.shipment, t.sender, t.receiver, d.stands AS stood,
               CASE WHEN t.missing > 0 THEN CASE WHEN t.come > 0 THEN 'short' ELSE 'on_road' END END AS stands
          FROM unnest(named) d
         CROSS JOIN LATERAL (SELECT min(c.sender) AS sender, min(c.receiver) AS receiver, sum(c.received + c.lost) AS come,
                                    sum(greatest(c.sent - c.received - c.lost, 0)) AS missing
                               FROM transfer c WHERE c.scheme = d.scheme AND c.dispatch = d.dispatch) AS t),
    kept AS (
        UPDATE shipment_dispatch d SET stands = n.stands FROM now_stands n
         WHERE d.scheme = n.scheme AND d.dispatch = n.dispatch AND d.stands IS DISTINCT FROM n.stands)
    INSERT INTO shipment_stands AS k
    SELECT n.scheme, n.shipment, n.sender, n.receiver,
           sum((n.stands IS NOT DISTINCT FROM 'on_road')::integer - (n.stood IS NOT DISTINCT FROM 'on_road')::integer),
           sum((n.stands IS NOT DISTINCT FROM 'short')::integer - (n.stood IS NOT DISTINCT FROM 'short')::integer)
      FROM now_stands n WHERE n.stands IS DISTINCT FROM n.stood
     GROUP BY 1, 2, 3, 4
        ON CONFLICT (scheme, shipment, sender, receiver) DO UPDATE
       SET on_road = k.on_road + excluded.on_road, short = k.short + excluded.short
$$;

DROP TRIGGER shipment_moved_on ON transfer;
CREATE TRIGGER shipment_moved_on AFTER UPDATE ON transfer
    REFERENCING NEW TABLE AS inserted OLD TABLE AS replaced FOR EACH STATEMENT EXECUTE FUNCTION shipment_moved();

INSERT INTO shipment_sum
SELECT d.scheme, d.shipment, t.sender, t.receiver, t.cup_type, t.damaged, sum(t.sent), sum(t.received), sum(t.lost),
       sum(greatest(t.sent - t.received - t.lost, 0))
  FROM shipment_dispatch d JOIN transfer t USING (scheme, dispatch) GROUP BY 1, 2, 3, 4, 5, 6;
SELECT shipment_stand_anew(array_agg(d)) FROM shipment_dispatch d;
DELETE FROM shipment_listed l
 WHERE NOT EXISTS (SELECT FROM shipment_place p WHERE (p.scheme, p.number, p.site, p.list) = (l.scheme, l.number, l.site, l.list));
INSERT INTO shipment_listed SELECT DISTINCT scheme, site, list, number FROM shipment_place ON CONFLICT DO NOTHING;

GRANT SELECT ON shipment_sum, shipment_stands, shipment_sent, shipment_standing, shipment_place TO depositd_service;

-- An entry that moved cups out of the place of a gap's cup without naming them all. It is of the scheme of the sighting
-- before. If it is reversed, the cup is looked at again.
ALTER TABLE cup_finding ADD COLUMN explained_by bigint;
UPDATE cup_finding f
   SET explained_by = (
       SELECT min(e.entry)
         FROM sighting s
         JOIN entry b ON b.scheme = f.other_scheme AND b.entry = f.other_entry
         JOIN entry e ON e.scheme = b.scheme AND e.occurred_at > b.occurred_at AND e.occurred_at <= s.occurred_at
        WHERE (s.scheme, s.entry, s.position) = (f.scheme, f.entry, f.position)
          AND e.entry <> b.entry AND (e.scheme, e.entry) <> (s.scheme, s.entry) AND e.kind <> 11
          AND NOT EXISTS (SELECT FROM entry_reference r WHERE (r.scheme, r.referred, r.kind) = (e.scheme, e.entry, 11))
          AND (SELECT -sum(l.amount) FROM unnest(e.accounts, e.amounts) AS l(account, amount)
                WHERE l.account = f.left_from AND l.amount < 0)
              > (SELECT count(*) FROM sighting n
                  WHERE n.scheme = e.scheme AND n.entry = e.entry AND n.came_from = f.left_from AND n.went_to <> n.came_from))
 WHERE f.kind = 'gap' AND NOT f.ended;
CREATE INDEX ON cup_finding (other_scheme, explained_by) WHERE NOT ended AND kind = 'gap';
GRANT UPDATE (other_scheme, other_entry, left_from, explained_by) ON cup_finding TO depositd_service;

-- The issues of a scheme's business days that name a cup, each with the hours of the trip that it began. A trip is an
-- issue followed by a return, anywhere, before that cup's next issue; it belongs to the scheme and day of the issue.
-- Hours are null if the cup has not come back so. A cup type, or null: all.
CREATE FUNCTION trips_of(of_scheme integer, first date, last date, of_type integer)
    RETURNS TABLE (cup bigint, cup_type integer, hours numeric)
    LANGUAGE sql STABLE ROWS 1000 AS $$
    SELECT i.cup, account_cup_type(i.went_to), n.hours
      FROM sighting i
      JOIN scheme h ON h.id = i.scheme
      LEFT JOIN LATERAL (
           SELECT account_kind_of(n.went_to) <> 36 AS is_return, extract(epoch FROM n.occurred_at - i.occurred_at) / 3600 AS hours
             FROM sighting n JOIN scheme c ON c.id = n.scheme
            WHERE n.cup = i.cup AND n.reversed_by IS NULL AND n.kind IN (1, 2, 3) AND n.occurred_at >= i.occurred_at
              AND (n.occurred_at, c.code COLLATE "C", n.entry, n.position) > (i.occurred_at, h.code COLLATE "C", i.entry, i.position)
            ORDER BY n.occurred_at, c.code COLLATE "C", n.entry, n.position LIMIT 1) n ON n.is_return
     WHERE i.scheme = of_scheme AND i.business_date BETWEEN first AND last AND i.reversed_by IS NULL
       AND (i.kind = 1 OR i.kind = 3) AND account_kind_of(i.went_to) = 36
       AND (of_type IS NULL OR account_cup_type(i.went_to) = of_type)
$$;

-- The new cups that came back from re-makers: supplies of a period that name a batch, and reversals of the period, of
-- such supplies of any day. It reads the supplies and the reversals of the period, and no others.
CREATE OR REPLACE FUNCTION remade_of(of_scheme integer, first date, last date)
    RETURNS TABLE (entry bigint, business_date date, cup_type integer, cups bigint)
    LANGUAGE sql STABLE ROWS 100 AS $$
    WITH span AS MATERIALIZED (
        SELECT min(d.first_entry) AS first_entry, max(d.last_entry) AS last_entry FROM business_day d
         WHERE d.scheme = of_scheme AND d.business_date BETWEEN first AND last),
    posted AS (
        SELECT e.entry, e.business_date, e.accounts, e.amounts
          FROM span JOIN entry e ON e.scheme = of_scheme AND e.kind = 4 AND e.kind > 3
                                AND e.entry BETWEEN span.first_entry AND span.last_entry
         WHERE substring(e.event FROM '"batch":"([^"]*)"') IS NOT NULL
        UNION ALL
        SELECT e.entry, e.business_date, e.accounts, e.amounts
          FROM span JOIN entry e ON e.scheme = of_scheme AND e.kind = 11 AND e.kind > 3
                                AND e.entry BETWEEN span.first_entry AND span.last_entry
         CROSS JOIN LATERAL (SELECT o.kind, o.event
                               FROM entry_reference f JOIN entry o ON o.scheme = f.scheme AND o.entry = f.referred
                              WHERE f.scheme = of_scheme AND f.entry = e.entry AND f.kind = 11 OFFSET 0) AS r
         WHERE r.kind = 4 AND substring(r.event FROM '"batch":"([^"]*)"') IS NOT NULL)
    SELECT p.entry, p.business_date, account_cup_type(l.account), l.amount
      FROM posted p, unnest(p.accounts, p.amounts) AS l(account, amount)
     WHERE p.business_date BETWEEN first AND last AND account_kind_of(l.account) = 33
$$;
