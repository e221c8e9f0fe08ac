-- Retired cups leave a site in batches for a re-maker, and new cups come back as supplies that name their batch. A batch is a fact: its
-- rows never change. A wrong one is withdrawn by a row.

CREATE TABLE remaking_batch (
    scheme      integer NOT NULL REFERENCES scheme,
    number      bigint NOT NULL CHECK (number > 0), -- 1, 2 … of the scheme
    code        code NOT NULL,
    site        integer NOT NULL REFERENCES site,
    sent_on     date NOT NULL,
    remaker     text NOT NULL,
    weight_g    bigint NOT NULL CHECK (weight_g > 0),
    recorded_at timestamptz NOT NULL,
    recorded_by integer NOT NULL, -- a key
    PRIMARY KEY (scheme, number),
    UNIQUE (scheme, code)
);
CREATE INDEX ON remaking_batch (site);
CREATE INDEX ON remaking_batch (scheme, sent_on);

CREATE TABLE remaking_batch_line (
    scheme   integer NOT NULL,
    number   bigint NOT NULL,
    cup_type integer NOT NULL REFERENCES cup_type,
    quantity bigint NOT NULL CHECK (quantity > 0),
    PRIMARY KEY (scheme, number, cup_type),
    FOREIGN KEY (scheme, number) REFERENCES remaking_batch
);

CREATE TABLE remaking_batch_withdrawal (
    scheme       integer NOT NULL,
    number       bigint NOT NULL,
    withdrawn_at timestamptz NOT NULL,
    withdrawn_by integer NOT NULL, -- a key
    reason       text NOT NULL,
    PRIMARY KEY (scheme, number),
    FOREIGN KEY (scheme, number) REFERENCES remaking_batch
);
GRANT SELECT, INSERT ON remaking_batch, remaking_batch_line, remaking_batch_withdrawal TO depositd_service;

-- Supplies by the batch that they name. An event is canonical JSON, and a quote within a text of it has a backslash before it.
CREATE INDEX entry_of_batch ON entry (scheme, substring(event FROM '"batch":"([^"]*)"')) WHERE kind = 4;

-- The supplies of a batch that are not reversed: the new cups by type.
CREATE FUNCTION remade_cups(of_scheme integer, of_batch text) RETURNS TABLE (cup_type integer, cups bigint)
    LANGUAGE sql STABLE ROWS 10 AS $$
    SELECT account_cup_type(l.account), sum(l.amount)::bigint
      FROM entry e, unnest(e.accounts, e.amounts) AS l(account, amount)
     WHERE e.scheme = of_scheme AND e.kind = 4 AND substring(e.event FROM '"batch":"([^"]*)"') = of_batch
       AND account_kind_of(l.account) = 33
       AND NOT EXISTS (SELECT FROM entry_reference r WHERE r.scheme = of_scheme AND r.referred = e.entry AND r.kind = 11)
     GROUP BY 1
$$;

-- The cups that were retired at a site, less reversed, and those of them that batches have, by type.
CREATE FUNCTION retired_cups(of_scheme integer, of_site integer) RETURNS TABLE (cup_type integer, retired bigint, batched bigint)
    LANGUAGE sql STABLE ROWS 10 AS $$
    SELECT part.cup_type, sum(part.retired)::bigint, sum(part.batched)::bigint
      FROM (SELECT account_cup_type(l.account), l.amount, 0
              FROM entry e, unnest(e.accounts, e.amounts) AS l(account, amount)
             WHERE e.site = of_site AND e.kind = 9 AND account_kind_of(l.account) = 37
               AND NOT EXISTS (SELECT FROM entry_reference r WHERE r.scheme = of_scheme AND r.referred = e.entry AND r.kind = 11)
            UNION ALL
            SELECT l.cup_type, 0, l.quantity
              FROM remaking_batch b JOIN remaking_batch_line l ON l.scheme = b.scheme AND l.number = b.number
             WHERE b.scheme = of_scheme AND b.site = of_site
               AND NOT EXISTS (SELECT FROM remaking_batch_withdrawal w WHERE w.scheme = b.scheme AND w.number = b.number)
           ) AS part(cup_type, retired, batched)
     GROUP BY part.cup_type
$$;

-- A batch as JSON: what its change records, and what answers show.
CREATE FUNCTION remaking_batch_lines(of_scheme integer, of_number bigint) RETURNS jsonb
    LANGUAGE sql STABLE
    RETURN (SELECT jsonb_agg(jsonb_build_object('cup_type', c.code, 'quantity', l.quantity) ORDER BY c.code COLLATE "C")
              FROM remaking_batch_line l JOIN cup_type c ON c.id = l.cup_type
             WHERE l.scheme = of_scheme AND l.number = of_number);
CREATE FUNCTION remaking_batch_state(b remaking_batch, w remaking_batch_withdrawal) RETURNS jsonb
    LANGUAGE sql STABLE
    RETURN jsonb_strip_nulls(jsonb_build_object(
        'site', (SELECT code FROM site WHERE id = b.site), 'sent_on', b.sent_on, 'remaker', b.remaker, 'weight_g', b.weight_g,
        'cups', remaking_batch_lines(b.scheme, b.number), 'recorded_at', instant_text(b.recorded_at),
        'recorded_by', (SELECT name FROM api_key WHERE id = b.recorded_by),
        'withdrawn', CASE WHEN w.number IS NOT NULL THEN jsonb_build_object(
            'at', instant_text(w.withdrawn_at), 'by', (SELECT name FROM api_key WHERE id = w.withdrawn_by),
            'reason', w.reason) END));

-- A batch and its withdrawal are recorded changes. The statement that adds a batch also adds its lines, and triggers see all of it.
CREATE FUNCTION keep_batch_change() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE
    c reference_change;
    b remaking_batch;
    w remaking_batch_withdrawal;
BEGIN
    SELECT * INTO b FROM remaking_batch n WHERE n.scheme = NEW.scheme AND n.number = NEW.number;
    c.of_what := 'remaking_batch';
    c.scheme := NEW.scheme;
    c.subject := 0;
    c.name := b.code;
    IF TG_TABLE_NAME = 'remaking_batch' THEN
        c.after := remaking_batch_state(b, NULL);
    ELSE
        SELECT * INTO w FROM remaking_batch_withdrawal n WHERE n.scheme = NEW.scheme AND n.number = NEW.number;
        c.before := remaking_batch_state(b, NULL);
        c.after := remaking_batch_state(b, w);
    END IF;
    PERFORM add_change(c);
    RETURN NULL;
END $$;
CREATE TRIGGER keep_change AFTER INSERT ON remaking_batch FOR EACH ROW EXECUTE FUNCTION keep_batch_change();
CREATE TRIGGER keep_change AFTER INSERT ON remaking_batch_withdrawal FOR EACH ROW EXECUTE FUNCTION keep_batch_change();

DO $$
DECLARE
    known text := (SELECT pg_get_expr(conbin, conrelid) FROM pg_constraint
                    WHERE conrelid = 'reference_change'::regclass AND conname = 'reference_change_of_what_check');
    state text := rtrim(pg_get_viewdef('reference_state'::regclass), '; ');
BEGIN
    ALTER TABLE reference_change DROP CONSTRAINT reference_change_of_what_check;
    EXECUTE format('ALTER TABLE reference_change ADD CONSTRAINT reference_change_of_what_check
                    CHECK (%s OR of_what = ''remaking_batch'')', known);
    EXECUTE format('CREATE OR REPLACE VIEW reference_state AS %s
        UNION ALL SELECT b.scheme, ''remaking_batch'', b.code::text, 0, remaking_batch_state(b, w), NULL
                    FROM remaking_batch b LEFT JOIN remaking_batch_withdrawal w ON w.scheme = b.scheme AND w.number = b.number', state);
END $$;

-- The new cups that came back from re-makers: supplies of a period that name a batch, and their reversals.
CREATE FUNCTION remade_of(of_scheme integer, first date, last date)
    RETURNS TABLE (entry bigint, business_date date, cup_type integer, cups bigint)
    LANGUAGE sql STABLE ROWS 100 AS $$
    WITH span AS (
        SELECT min(d.first_entry) AS first_entry, max(d.last_entry) AS last_entry FROM business_day d
         WHERE d.scheme = of_scheme AND d.business_date BETWEEN first AND last),
    named AS ( -- reversals of such supplies lie in any later day
        SELECT e.entry, e.business_date, e.accounts, e.amounts FROM entry e
         WHERE e.scheme = of_scheme AND e.kind = 4 AND substring(e.event FROM '"batch":"([^"]*)"') IS NOT NULL),
    posted AS (
        SELECT n.entry, n.business_date, n.accounts, n.amounts FROM span JOIN named n ON n.entry BETWEEN span.first_entry AND span.last_entry
        UNION ALL
        SELECT e.entry, e.business_date, e.accounts, e.amounts
          FROM span CROSS JOIN named n
          JOIN entry_reference r ON r.scheme = of_scheme AND r.referred = n.entry AND r.kind = 11
                                AND r.entry BETWEEN span.first_entry AND span.last_entry
          JOIN entry e ON e.scheme = of_scheme AND e.entry = r.entry)
    SELECT p.entry, p.business_date, account_cup_type(l.account), l.amount
      FROM posted p, unnest(p.accounts, p.amounts) AS l(account, amount)
     WHERE p.business_date BETWEEN first AND last AND account_kind_of(l.account) = 33
$$;
