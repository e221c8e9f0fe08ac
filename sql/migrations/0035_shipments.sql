-- Shipments that somebody asks for: what is to go from one site to another, and which dispatches have done it.

CREATE TABLE shipment_request (
    scheme       integer NOT NULL,
    number       integer NOT NULL CHECK (number > 0), -- 1, 2 … of the scheme: by age
    shipment     uuid NOT NULL,
    digest       bytea NOT NULL,                      -- of the request as it was stated: tells a replay from a conflict
    sender       integer NOT NULL,
    receiver     integer NOT NULL CHECK (receiver <> sender),
    wanted_on    date NOT NULL,
    note         text,
    bearer       text CHECK (bearer IN ('sender', 'receiver', 'operator')), -- of cups lost on the road, as agreed
    requested_at timestamptz NOT NULL,
    requested_by integer NOT NULL,
    PRIMARY KEY (scheme, number),
    UNIQUE (scheme, shipment)
);
CREATE INDEX ON shipment_request (shipment);

CREATE TABLE shipment_line (
    scheme   integer NOT NULL,
    number   integer NOT NULL,
    cup_type integer NOT NULL,
    damaged  boolean NOT NULL,
    cups     bigint NOT NULL CHECK (cups > 0),
    PRIMARY KEY (scheme, number, cup_type, damaged)
);

-- The rest of a withdrawn request is not to be sent any more.
CREATE TABLE shipment_withdrawal (
    scheme       integer NOT NULL,
    number       integer NOT NULL,
    withdrawn_at timestamptz NOT NULL,
    withdrawn_by integer NOT NULL,
    why          text NOT NULL,
    PRIMARY KEY (scheme, number)
);

-- The dispatches that name a shipment. The shipment may be one that nobody has asked for here.
CREATE TABLE shipment_dispatch (
    scheme   integer NOT NULL,
    dispatch bigint NOT NULL, -- its entry
    shipment uuid NOT NULL,
    PRIMARY KEY (scheme, dispatch)
);
CREATE INDEX ON shipment_dispatch (scheme, shipment, dispatch);

CREATE INDEX ON transfer (receiver, dispatch) WHERE sent <> received + lost; -- the cups that a site waits for

-- What was sent for a request, and what became of it.
CREATE VIEW shipment_sent AS
    SELECT r.scheme, r.number, t.dispatch, t.cup_type, t.damaged, t.sent, t.received, t.lost,
           greatest(t.sent - t.received - t.lost, 0) AS missing
      FROM shipment_request r
      JOIN shipment_dispatch d ON d.scheme = r.scheme AND d.shipment = r.shipment
      JOIN transfer t ON t.scheme = d.scheme AND t.dispatch = d.dispatch;

-- Who has to do something about a request. A dispatch of which nothing has come waits for its receiver; one that came
-- in part waits for somebody to find the rest, or to give it up.
CREATE VIEW shipment_standing AS
    SELECT r.scheme, r.number, r.sender, r.receiver, w.number IS NOT NULL AS withdrawn,
           w.number IS NULL AND EXISTS (
               SELECT FROM shipment_line l
                WHERE l.scheme = r.scheme AND l.number = r.number
                  AND l.cups > (SELECT coalesce(sum(s.sent), 0) FROM shipment_sent s
                                 WHERE s.scheme = r.scheme AND s.number = r.number
                                   AND s.cup_type = l.cup_type AND s.damaged = l.damaged)) AS to_send,
           EXISTS (SELECT FROM shipment_sent s WHERE s.scheme = r.scheme AND s.number = r.number
                    GROUP BY s.dispatch HAVING sum(s.missing) > 0 AND sum(s.received + s.lost) = 0) AS on_road,
           EXISTS (SELECT FROM shipment_sent s WHERE s.scheme = r.scheme AND s.number = r.number
                    GROUP BY s.dispatch HAVING sum(s.missing) > 0 AND sum(s.received + s.lost) > 0) AS short
      FROM shipment_request r
      LEFT JOIN shipment_withdrawal w ON w.scheme = r.scheme AND w.number = r.number;

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

-- The same, kept: a read costs what it shows. Triggers keep it, as the owner.
CREATE TABLE shipment_listed (
    scheme integer NOT NULL,
    site   integer NOT NULL,
    list   text NOT NULL,
    number integer NOT NULL,
    PRIMARY KEY (scheme, site, list, number)
);
CREATE INDEX ON shipment_listed (scheme, number);

CREATE FUNCTION shipment_list_anew(of_scheme integer, of_number integer) RETURNS void LANGUAGE plpgsql AS $$
BEGIN
    DELETE FROM shipment_listed l
     WHERE l.scheme = of_scheme AND l.number = of_number
       AND NOT EXISTS (SELECT FROM shipment_place p
                        WHERE p.scheme = of_scheme AND p.number = of_number AND p.site = l.site AND p.list = l.list);
    INSERT INTO shipment_listed
    SELECT p.scheme, p.site, p.list, p.number FROM shipment_place p WHERE p.scheme = of_scheme AND p.number = of_number
        ON CONFLICT DO NOTHING;
END $$;

CREATE FUNCTION shipment_stated() RETURNS trigger LANGUAGE plpgsql SECURITY DEFINER SET search_path FROM CURRENT AS $$
BEGIN
    PERFORM shipment_list_anew(t.scheme, t.number) FROM (SELECT DISTINCT i.scheme, i.number FROM inserted i) AS t;
    RETURN NULL;
END $$;
CREATE TRIGGER shipment_stated AFTER INSERT ON shipment_line
    REFERENCING NEW TABLE AS inserted FOR EACH STATEMENT EXECUTE FUNCTION shipment_stated();
CREATE TRIGGER shipment_stated AFTER INSERT ON shipment_withdrawal
    REFERENCING NEW TABLE AS inserted FOR EACH STATEMENT EXECUTE FUNCTION shipment_stated();

-- A dispatch, a receipt or a loss was recorded. The link to the shipment is written before the cups.
CREATE FUNCTION shipment_moved() RETURNS trigger LANGUAGE plpgsql SECURITY DEFINER SET search_path FROM CURRENT AS $$
BEGIN
    PERFORM shipment_list_anew(m.scheme, m.number)
       FROM (SELECT DISTINCT r.scheme, r.number
               FROM (SELECT DISTINCT i.scheme, i.dispatch FROM inserted i) AS t
              CROSS JOIN LATERAL (SELECT d.scheme, d.shipment FROM shipment_dispatch d
                                   WHERE d.scheme = t.scheme AND d.dispatch = t.dispatch LIMIT 1) AS d
              CROSS JOIN LATERAL (SELECT q.scheme, q.number FROM shipment_request q
                                   WHERE q.scheme = d.scheme AND q.shipment = d.shipment LIMIT 1) AS r) AS m;
    RETURN NULL;
END $$;
CREATE TRIGGER shipment_moved AFTER INSERT ON transfer
    REFERENCING NEW TABLE AS inserted FOR EACH STATEMENT EXECUTE FUNCTION shipment_moved();
CREATE TRIGGER shipment_moved_on AFTER UPDATE ON transfer
    REFERENCING NEW TABLE AS inserted FOR EACH STATEMENT EXECUTE FUNCTION shipment_moved();

GRANT SELECT, INSERT ON shipment_request, shipment_line, shipment_withdrawal, shipment_dispatch TO depositd_service;
GRANT SELECT ON shipment_listed, shipment_sent, shipment_standing, shipment_place TO depositd_service;
