-- Two people close a month for journals, and two people reopen it. A closed month takes no journal that is dated in it.

CREATE FUNCTION month_of(day date) RETURNS date
    LANGUAGE sql IMMUTABLE STRICT PARALLEL SAFE
    RETURN day - extract(day FROM day)::integer + 1;

-- The second person's approval of a proposal is a row. The last one of a month says how it stands.
CREATE TABLE month_decision (
    scheme     integer NOT NULL REFERENCES scheme,
    month      date NOT NULL CHECK (month = month_of(month)), -- its first day
    position   integer NOT NULL CHECK (position > 0),
    closed     boolean NOT NULL, -- false: it was reopened
    decided_at timestamptz NOT NULL,
    decided_by integer NOT NULL, -- a key
    proposal   bigint NOT NULL REFERENCES proposal,
    PRIMARY KEY (scheme, month, position)
);

CREATE FUNCTION month_is_closed(of_scheme integer, day date) RETURNS boolean
    LANGUAGE sql STABLE PARALLEL SAFE
    RETURN coalesce((SELECT m.closed FROM month_decision m WHERE m.scheme = of_scheme AND m.month = month_of(day)
                      ORDER BY m.position DESC LIMIT 1), false);

-- A month is closed after its last day, by an approved proposal; and it alternates.
CREATE FUNCTION month_decision_guard() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF (CASE WHEN NEW.position > 1 THEN (SELECT m.closed FROM month_decision m
                                          WHERE m.scheme = NEW.scheme AND m.month = NEW.month AND m.position = NEW.position - 1)
             ELSE false END) IS DISTINCT FROM NOT NEW.closed
       OR NEW.closed AND NOT EXISTS (SELECT FROM business_day d
                                      WHERE d.scheme = NEW.scheme AND d.state = 'closed'
                                        AND d.business_date = (NEW.month + interval '1 month')::date - 1)
       OR NOT EXISTS (SELECT FROM proposal p JOIN proposal_decision d ON d.proposal = p.number
                       WHERE p.number = NEW.proposal AND p.what = 'month' AND p.schemes = ARRAY[NEW.scheme]
                         AND p.body::jsonb = jsonb_build_object('closed', NEW.closed)
                         AND d.decision = 'approved' AND d.decided_by = NEW.decided_by AND d.decided_by <> p.proposed_by) THEN
        RAISE EXCEPTION 'a month is not closed or reopened like that' USING ERRCODE = 'integrity_constraint_violation';
    END IF;
    RETURN NULL;
END $$;
CREATE CONSTRAINT TRIGGER month_decision_guard AFTER INSERT ON month_decision DEFERRABLE INITIALLY DEFERRED
    FOR EACH ROW EXECUTE FUNCTION month_decision_guard();

-- A journal is dated by the business day in which it occurred, and posts to that day or to a later one.
CREATE FUNCTION journal_month_guard() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF month_is_closed(NEW.scheme, NEW.business_date)
       OR EXISTS (SELECT FROM business_day d
                   WHERE d.scheme = NEW.scheme AND d.starts_at <= NEW.occurred_at AND NEW.occurred_at < d.ends_at
                     AND month_is_closed(NEW.scheme, d.business_date)) THEN
        RAISE EXCEPTION 'the month is closed for journals' USING ERRCODE = 'integrity_constraint_violation';
    END IF;
    RETURN NULL;
END $$;
CREATE TRIGGER journal_month_guard AFTER INSERT ON entry
    FOR EACH ROW WHEN (NEW.kind = 14) EXECUTE FUNCTION journal_month_guard();

-- Each decision is a recorded change.
CREATE FUNCTION month_state(m month_decision) RETURNS jsonb
    LANGUAGE sql STABLE
    RETURN jsonb_build_object('closed', m.closed, 'position', m.position, 'at', instant_text(m.decided_at),
                              'by', (SELECT k.name FROM api_key k WHERE k.id = m.decided_by), 'proposal', m.proposal);

CREATE FUNCTION keep_month_change() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE
    c reference_change;
BEGIN
    c.of_what := 'month';
    c.scheme := NEW.scheme;
    c.subject := 0;
    c.name := to_char(NEW.month, 'YYYY-MM');
    c.before := (SELECT month_state(m) FROM month_decision m
                  WHERE m.scheme = NEW.scheme AND m.month = NEW.month AND m.position = NEW.position - 1);
    c.after := month_state(NEW);
    PERFORM add_change(c);
    RETURN NULL;
END $$;
CREATE TRIGGER keep_change AFTER INSERT ON month_decision FOR EACH ROW EXECUTE FUNCTION keep_month_change();

DO $$
DECLARE
    known text := (SELECT pg_get_expr(conbin, conrelid) FROM pg_constraint
                    WHERE conrelid = 'reference_change'::regclass AND conname = 'reference_change_of_what_check');
    state text := rtrim(pg_get_viewdef('reference_state'::regclass), '; ');
BEGIN
    ALTER TABLE reference_change DROP CONSTRAINT reference_change_of_what_check;
    EXECUTE format('ALTER TABLE reference_change ADD CONSTRAINT reference_change_of_what_check
                    CHECK (%s OR of_what = ''month'')', known);
    EXECUTE format('CREATE OR REPLACE VIEW reference_state AS %s
        UNION ALL SELECT m.scheme, ''month'', to_char(m.month, ''YYYY-MM''), 0, month_state(m), NULL
                    FROM month_decision m
                   WHERE m.position = (SELECT max(l.position) FROM month_decision l
                                        WHERE l.scheme = m.scheme AND l.month = m.month)', state);
END $$;

ALTER TABLE proposal DROP CONSTRAINT proposal_what_check;
ALTER TABLE proposal ADD CONSTRAINT proposal_what_check
    CHECK (what IN ('reference', 'scheme', 'participant', 'key', 'bank_line', 'exception', 'month'));

CREATE OR REPLACE VIEW proposal_shown AS
    SELECT p.number, p.schemes, coalesce(d.decision, 'open') AS status, jsonb_strip_nulls(jsonb_build_object(
               'proposal', p.number, 'status', coalesce(d.decision, 'open'), 'what', p.what, 'name', nullif(p.name, ''),
               'schemes', (SELECT coalesce(jsonb_agg(s.code ORDER BY s.code COLLATE "C"), '[]')
                             FROM scheme s WHERE s.id = ANY (p.schemes)),
               'proposed_at', instant_text(p.proposed_at),
               'proposed_by', jsonb_build_object('key', k.name, 'holder', k.holder), 'why', p.why,
               'changes', p.changes, 'others', p.others,
               'request', CASE WHEN p.what IN ('bank_line', 'exception', 'month') THEN p.body::jsonb END,
               'decided_at', instant_text(d.decided_at),
               'decided_by', CASE WHEN n.id IS NOT NULL THEN jsonb_build_object('key', n.name, 'holder', n.holder) END,
               'note', d.note)) AS shown
      FROM proposal p
      JOIN api_key k ON k.id = p.proposed_by
      LEFT JOIN proposal_decision d ON d.proposal = p.number
      LEFT JOIN api_key n ON n.id = d.decided_by;

-- Proposals by scheme (0: all of them) and status, in the order of their lists. Triggers keep them, as the owner.
CREATE TABLE proposal_listed (
    scheme integer NOT NULL,
    status text NOT NULL,
    number bigint NOT NULL,
    PRIMARY KEY (scheme, status, number)
);
CREATE INDEX ON proposal_listed (number);
CREATE FUNCTION proposal_is_listed() RETURNS trigger LANGUAGE plpgsql SECURITY DEFINER SET search_path FROM CURRENT AS $$
BEGIN
    INSERT INTO proposal_listed SELECT DISTINCT s, 'open', NEW.number FROM unnest(0 || NEW.schemes) AS s;
    RETURN NULL;
END $$;
CREATE TRIGGER proposal_is_listed AFTER INSERT ON proposal FOR EACH ROW EXECUTE FUNCTION proposal_is_listed();
CREATE FUNCTION proposal_is_decided() RETURNS trigger LANGUAGE plpgsql SECURITY DEFINER SET search_path FROM CURRENT AS $$
BEGIN
    UPDATE proposal_listed SET status = NEW.decision WHERE number = NEW.proposal;
    RETURN NULL;
END $$;
CREATE TRIGGER proposal_is_decided AFTER INSERT ON proposal_decision FOR EACH ROW EXECUTE FUNCTION proposal_is_decided();
INSERT INTO proposal_listed
SELECT DISTINCT s, coalesce(d.decision, 'open'), p.number
  FROM proposal p LEFT JOIN proposal_decision d ON d.proposal = p.number CROSS JOIN unnest(0 || p.schemes) AS s;

CREATE INDEX ON proposal (name, number) WHERE what = 'month';

-- How a month is shown. A proposal of a later month may close this one with it; it is shown at its own month.
CREATE FUNCTION month_shown(of_scheme integer, first date) RETURNS jsonb
    LANGUAGE sql STABLE
    RETURN (
    SELECT jsonb_strip_nulls(jsonb_build_object(
               'month', to_char(first, 'YYYY-MM'), 'scheme', s.code, 'currency', s.currency,
               'from', greatest(first, s.begins), 'to', s.last,
               'state', CASE WHEN m.closed THEN CASE WHEN w.number IS NULL THEN 'closed' ELSE 'reopening_proposed' END
                             WHEN w.number IS NOT NULL THEN 'closing_proposed'
                             WHEN d.state = 'closed' THEN 'open' ELSE 'running' END,
               'proposal', coalesce(w.number, m.proposal),
               'proposed_at', instant_text(p.proposed_at), 'proposed_by', CASE WHEN k.id IS NOT NULL
                                   THEN jsonb_build_object('key', k.name, 'holder', k.holder) END,
               'decided_at', CASE WHEN w.number IS NULL THEN instant_text(m.decided_at) END,
               'decided_by', CASE WHEN w.number IS NULL AND n.id IS NOT NULL
                                  THEN jsonb_build_object('key', n.name, 'holder', n.holder) END))
      FROM (SELECT s.id, s.code, s.currency, (first + interval '1 month')::date - 1 AS last,
                   (SELECT min(b.business_date) FROM business_day b WHERE b.scheme = s.id) AS begins
              FROM scheme s WHERE s.id = of_scheme) AS s
      LEFT JOIN business_day d ON d.scheme = s.id AND d.business_date = s.last
      LEFT JOIN LATERAL (SELECT * FROM month_decision m WHERE m.scheme = s.id AND m.month = first
                          ORDER BY m.position DESC LIMIT 1) m ON true
      LEFT JOIN LATERAL (SELECT o.number FROM proposal o
                          WHERE o.what = 'month' AND o.name = s.code || '.' || to_char(first, 'YYYY-MM')
                            AND NOT EXISTS (SELECT FROM proposal_decision e WHERE e.proposal = o.number)
                          ORDER BY o.name DESC, o.number DESC LIMIT 1) w ON true
      LEFT JOIN proposal p ON p.number = coalesce(w.number, m.proposal)
      LEFT JOIN api_key k ON k.id = p.proposed_by
      LEFT JOIN api_key n ON n.id = m.decided_by);

-- The history of changes, whatever its filter.
CREATE INDEX ON reference_change (scheme, of_what, number);
CREATE INDEX ON reference_change (of_what, number);
CREATE INDEX ON reference_change (api_key, number);
CREATE INDEX ON reference_change (changed_at, number);
CREATE INDEX ON api_key (lower(holder));

GRANT SELECT, INSERT ON month_decision TO depositd_service;
GRANT SELECT ON proposal_listed, proposal_shown TO depositd_service;
