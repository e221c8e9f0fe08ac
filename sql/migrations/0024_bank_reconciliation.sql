-- The bank's statements as a chain: each begins with what the last one ended with.

-- What a statement says about the account. Amounts are of the scheme's currency; below zero, the account is overdrawn.
ALTER TABLE bank_statement
    ADD COLUMN first_day date, -- the days that it is about, by the bank's calendar
    ADD COLUMN last_day  date,
    ADD COLUMN sequence  bigint NOT NULL DEFAULT 0, -- the bank's count of its statements; 0: it states none
    ADD COLUMN opening   bigint,                    -- booked balance before its lines; null: it states none
    ADD COLUMN closing   bigint,                    -- and after them
    ADD COLUMN booked    bigint,                    -- sum of its booked lines
    ADD COLUMN repeated  bigint;                    -- sum of those of them that an earlier statement had

-- Statements that were read before: their balances were kept as texts, and the period was not. A balance that stands
-- there twice and differs says nothing.
WITH stated AS (
    SELECT t.scheme, t.statement, b->>'type' AS type, max((b->>'date')::date) AS on_day,
           CASE WHEN count(DISTINCT b->>'amount') = 1
                THEN (min(b->>'amount')::numeric * power(10::numeric, s.decimals))::bigint END AS amount
      FROM bank_statement t JOIN scheme s ON s.id = t.scheme CROSS JOIN jsonb_array_elements(t.balances) AS b
     WHERE b->>'type' IN ('OPBD', 'PRCD', 'CLBD') GROUP BY t.scheme, t.statement, b->>'type', s.decimals),
of_lines AS (
    SELECT scheme, statement, sum(amount) AS booked, sum(amount) FILTER (WHERE disposition = 'repeated') AS repeated,
           min(booked_on) AS first, max(booked_on) AS last
      FROM bank_line WHERE disposition <> 'ignored' GROUP BY 1, 2),
said AS (
    SELECT t.scheme, t.statement, coalesce(opens.amount, previous.amount) AS opening, closes.amount AS closing,
           coalesce(l.booked, 0) AS booked, coalesce(l.repeated, 0) AS repeated, l.first,
           coalesce(closes.on_day, l.last, (d.received_at AT TIME ZONE s.time_zone)::date) AS last
      FROM bank_statement t
      JOIN scheme s ON s.id = t.scheme
      JOIN bank_document d ON d.scheme = t.scheme AND d.document = t.document
      LEFT JOIN stated opens ON (opens.scheme, opens.statement, opens.type) = (t.scheme, t.statement, 'OPBD')
      LEFT JOIN stated previous ON (previous.scheme, previous.statement, previous.type) = (t.scheme, t.statement, 'PRCD')
      LEFT JOIN stated closes ON (closes.scheme, closes.statement, closes.type) = (t.scheme, t.statement, 'CLBD')
      LEFT JOIN of_lines l ON (l.scheme, l.statement) = (t.scheme, t.statement))
UPDATE bank_statement t
   SET opening = s.opening, closing = s.closing, booked = s.booked, repeated = s.repeated, last_day = s.last,
       first_day = least(s.first, s.last)
  FROM said s WHERE s.scheme = t.scheme AND s.statement = t.statement;
ALTER TABLE bank_statement
    ALTER COLUMN first_day SET NOT NULL, ALTER COLUMN last_day SET NOT NULL,
    ALTER COLUMN booked SET NOT NULL, ALTER COLUMN repeated SET NOT NULL,
    ADD CHECK (first_day <= last_day);

CREATE INDEX ON bank_statement (scheme, account, last_day, sequence, statement); -- the chain of an account
CREATE INDEX ON bank_statement (scheme, last_day, statement);                    -- as they are listed
CREATE INDEX ON bank_line (scheme, statement, line);
DROP INDEX bank_line_scheme_statement_idx;

-- How a statement follows on the one before it in the chain. A statement without balances moves the account by its
-- lines. Lines that an earlier statement had count once, so that statements may overlap.
--   expected      the account before the statement's new lines, by the statements before; null: there are none
--   opening_off   by how much what it opens with differs from that
--   lines_off     by how much its closing differs from its opening and its lines
-- Both are null if the statement has no balance that says it.
CREATE FUNCTION bank_statement_tie(t bank_statement)
    RETURNS TABLE (expected numeric, opening_off numeric, lines_off numeric)
    LANGUAGE sql STABLE ROWS 1 AS $$
    SELECT before.ends,
           CASE WHEN before.ends IS NOT NULL
                THEN coalesce(t.opening::numeric + t.repeated, t.closing::numeric - t.booked + t.repeated) - before.ends
                WHEN t.opening IS NOT NULL OR t.closing IS NOT NULL THEN t.repeated::numeric END,
           t.closing::numeric - t.opening - t.booked
      FROM (SELECT) AS one
      LEFT JOIN LATERAL (
           SELECT coalesce(p.closing::numeric, p.opening::numeric + p.booked) + coalesce(silent.moved, 0) AS ends
             FROM bank_statement p
            CROSS JOIN LATERAL (
                  SELECT sum(u.booked::numeric - u.repeated) AS moved FROM bank_statement u
                   WHERE u.scheme = t.scheme AND u.account = t.account
                     AND (u.last_day, u.sequence, u.statement) > (p.last_day, p.sequence, p.statement)
                     AND (u.last_day, u.sequence, u.statement) < (t.last_day, t.sequence, t.statement)) AS silent
            WHERE p.scheme = t.scheme AND p.account = t.account
              AND (p.last_day, p.sequence, p.statement) < (t.last_day, t.sequence, t.statement)
              AND (p.opening IS NOT NULL OR p.closing IS NOT NULL)
            ORDER BY p.last_day DESC, p.sequence DESC, p.statement DESC LIMIT 1) AS before ON true
$$;

-- The chain of each account through a day, the same in one pass. begins: the account before the first of its statements;
-- null: none of them states a balance.
--   told_again   the bank has told the days again and that ties: a later statement that reaches back to the break, or
--                to another before it, ends as if there had been none
CREATE FUNCTION bank_chain(of_scheme integer, through date)
    RETURNS TABLE (statement bigint, account text, place bigint, fresh numeric, expected numeric, opening_off numeric,
                   lines_off numeric, told_again boolean, begins numeric)
    LANGUAGE sql STABLE ROWS 1000 AS $$
    WITH listed AS MATERIALIZED (
        SELECT t.statement, t.account, t.first_day, t.last_day, t.opening, t.closing, t.booked, t.repeated,
               t.booked::numeric - t.repeated AS fresh, row_number() OVER chain AS place,
               sum(t.booked::numeric - t.repeated) OVER chain AS told, -- by new lines
               coalesce(t.closing::numeric, t.opening::numeric + t.booked) AS ends,
               max(t.last_day) FILTER (WHERE t.opening IS NOT NULL OR t.closing IS NOT NULL) OVER chain AS last_known
          FROM bank_statement t
         WHERE t.scheme = of_scheme AND t.last_day <= through
        WINDOW chain AS (PARTITION BY t.account ORDER BY t.last_day, t.sequence, t.statement)),
    numbered AS (
        SELECT l.*, max(l.place) FILTER (WHERE l.ends IS NOT NULL)
                        OVER (PARTITION BY l.account ORDER BY l.place ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING) AS known
          FROM listed l),
    compared AS (
        SELECT n.*, p.ends - p.told + n.told - n.fresh AS expected
          FROM numbered n LEFT JOIN listed p ON p.account = n.account AND p.place = n.known),
    tied AS MATERIALIZED (
        SELECT c.*,
               CASE WHEN c.expected IS NOT NULL
                    THEN coalesce(c.opening::numeric + c.repeated, c.closing::numeric - c.booked + c.repeated) - c.expected
                    WHEN c.ends IS NOT NULL THEN c.repeated::numeric END AS opening_off,
               c.closing::numeric - c.opening - c.booked AS lines_off
          FROM compared c),
    drifted AS MATERIALIZED (
        SELECT t.*, coalesce(t.opening_off, 0) + coalesce(t.lines_off, 0) AS off,
               sum(coalesce(t.opening_off, 0) + coalesce(t.lines_off, 0)) OVER (PARTITION BY t.account ORDER BY t.place) AS drift
          FROM tied t),
    broken AS MATERIALIZED (SELECT * FROM drifted d WHERE d.opening_off <> 0 OR d.lines_off <> 0),
    began AS (
        SELECT DISTINCT ON (d.account) d.account, coalesce(d.opening, d.closing::numeric - d.booked) - (d.told - d.fresh) AS begins
          FROM drifted d WHERE d.ends IS NOT NULL ORDER BY d.account, d.place)
    SELECT d.statement, d.account, d.place, d.fresh, d.expected, d.opening_off, d.lines_off,
           (d.opening_off <> 0 OR d.lines_off <> 0) IS TRUE AND EXISTS (
               SELECT FROM broken b JOIN drifted l ON l.account = b.account AND l.place > b.place AND l.first_day <= b.last_day
                WHERE b.account = d.account AND b.place <= d.place AND l.place >= d.place AND l.drift = b.drift - b.off),
           n.begins
      FROM drifted d LEFT JOIN began n USING (account)
$$;

-- Payments that have moved `bank` and have no line at the bank, or the other way round. moved: how often more in the
-- ledger, by the payment's own effect.
CREATE TABLE bank_transit (
    scheme     integer NOT NULL,
    payment_id text NOT NULL,
    moved      smallint NOT NULL,
    is_before  boolean NOT NULL DEFAULT false, -- it moved before the first day of the first statement that was read
    PRIMARY KEY (scheme, payment_id)
);
CREATE INDEX ON bank_transit (scheme) WHERE NOT is_before;
-- Those from before are one figure. A scheme that has read no statement has none.
CREATE TABLE bank_before (
    scheme    integer PRIMARY KEY,
    first_day date NOT NULL,
    amount    bigint NOT NULL
);
GRANT SELECT ON bank_transit, bank_before TO depositd_service;

-- What moves a payment on either side: its changes, the bank's lines, and what a person found a line to be. Such a line
-- had moved `bank` before, so the finding takes that back.
CREATE VIEW bank_side AS
    SELECT p.scheme, p.payment_id, 'change' AS side, CASE c.change WHEN 'confirm' THEN 1 ELSE -1 END AS moved, c.entry,
           NULL::bigint AS statement
      FROM payment_change c JOIN payment p USING (scheme, payment_id)
     WHERE (p.payer IS NULL OR p.payee IS NULL)
       AND (c.change = 'confirm'
            OR c.change = 'fail' AND EXISTS (SELECT FROM payment_change f
                                              WHERE (f.scheme, f.payment_id, f.change) = (c.scheme, c.payment_id, 'confirm')))
    UNION ALL
    SELECT l.scheme, l.payment_id, 'line', CASE l.disposition WHEN 'matched' THEN -1 ELSE 1 END, NULL, l.statement
      FROM bank_line l WHERE l.disposition IN ('matched', 'returned') AND l.payment_id IS NOT NULL
    UNION ALL
    SELECT r.scheme, r.payment_id, 'finding', CASE WHEN r.came_back THEN 1 ELSE -1 END, r.entries[1], NULL
      FROM bank_line_resolution r WHERE r.payment_id IS NOT NULL;
CREATE VIEW bank_effect AS -- how a payment of the pool moves its account
    SELECT p.scheme, p.payment_id, CASE WHEN p.payee IS NULL THEN p.amount ELSE -p.amount END AS effect
      FROM payment p WHERE p.payer IS NULL OR p.payee IS NULL;
GRANT SELECT ON bank_side, bank_effect TO depositd_service;

-- Computes anew what of some payments is in transit. A payment from before that moves again is before no longer.
CREATE FUNCTION bank_transit_anew(of_scheme integer, of_payments text[]) RETURNS void LANGUAGE plpgsql AS $$
BEGIN
    UPDATE bank_before b SET amount = b.amount - gone.amount
      FROM (SELECT sum(t.moved * e.effect) AS amount FROM bank_transit t JOIN bank_effect e USING (scheme, payment_id)
             WHERE t.scheme = of_scheme AND t.payment_id = ANY (of_payments) AND t.is_before) AS gone
     WHERE b.scheme = of_scheme AND gone.amount IS NOT NULL;
    DELETE FROM bank_transit WHERE scheme = of_scheme AND payment_id = ANY (of_payments);
    INSERT INTO bank_transit (scheme, payment_id, moved)
    SELECT scheme, payment_id, sum(moved) FROM bank_side
     WHERE scheme = of_scheme AND payment_id = ANY (of_payments) GROUP BY 1, 2 HAVING sum(moved) <> 0;
END $$;

CREATE FUNCTION bank_transit_changes() RETURNS trigger LANGUAGE plpgsql SECURITY DEFINER SET search_path FROM CURRENT AS $$
BEGIN
    PERFORM bank_transit_anew(touched.scheme, touched.payments)
       FROM (SELECT to_jsonb(i)->>'scheme' AS scheme, array_agg(DISTINCT to_jsonb(i)->>'payment_id') AS payments
               FROM inserted i
              WHERE to_jsonb(i)->>'payment_id' IS NOT NULL AND coalesce(to_jsonb(i)->>'change', 'confirm') IN ('confirm', 'fail')
              GROUP BY 1) AS part
      CROSS JOIN LATERAL (SELECT part.scheme::integer AS scheme, part.payments) AS touched;
    RETURN NULL;
END $$;
CREATE TRIGGER bank_transit_changes AFTER INSERT ON payment_change
    REFERENCING NEW TABLE AS inserted FOR EACH STATEMENT EXECUTE FUNCTION bank_transit_changes();
CREATE TRIGGER bank_transit_changes AFTER INSERT ON bank_line
    REFERENCING NEW TABLE AS inserted FOR EACH STATEMENT EXECUTE FUNCTION bank_transit_changes();
CREATE TRIGGER bank_transit_changes AFTER INSERT ON bank_line_resolution
    REFERENCING NEW TABLE AS inserted FOR EACH STATEMENT EXECUTE FUNCTION bank_transit_changes();

-- The first statement of a scheme parts what was before from what is in transit.
CREATE FUNCTION bank_before_begins(of_scheme integer, of_day date) RETURNS void LANGUAGE plpgsql AS $$
BEGIN
    UPDATE bank_transit t SET is_before = true
     WHERE t.scheme = of_scheme
       AND NOT EXISTS (SELECT FROM bank_side s LEFT JOIN entry e ON e.scheme = s.scheme AND e.entry = s.entry
                        WHERE s.scheme = t.scheme AND s.payment_id = t.payment_id
                          AND (s.side <> 'change' OR e.business_date >= of_day));
    INSERT INTO bank_before
    SELECT of_scheme, of_day, coalesce(sum(t.moved * e.effect), 0)
      FROM bank_transit t JOIN bank_effect e USING (scheme, payment_id) WHERE t.scheme = of_scheme AND t.is_before;
END $$;
CREATE FUNCTION bank_before_begins() RETURNS trigger LANGUAGE plpgsql SECURITY DEFINER SET search_path FROM CURRENT AS $$
BEGIN
    IF NOT EXISTS (SELECT FROM bank_before b WHERE b.scheme = NEW.scheme) THEN
        PERFORM bank_before_begins(NEW.scheme, NEW.first_day);
    END IF;
    RETURN NULL;
END $$;
CREATE TRIGGER bank_before_begins AFTER INSERT ON bank_statement FOR EACH ROW EXECUTE FUNCTION bank_before_begins();

INSERT INTO bank_transit (scheme, payment_id, moved)
SELECT scheme, payment_id, sum(moved) FROM bank_side GROUP BY 1, 2 HAVING sum(moved) <> 0;
DO $$ BEGIN
    PERFORM bank_before_begins(scheme, first_day) FROM bank_statement WHERE statement = 1;
END $$;
CREATE INDEX ON bank_line (scheme, entry) WHERE entry IS NOT NULL;
-- Journals and openings that say what was at the bank.
CREATE INDEX ON proposed_event (scheme) WHERE status = 'approved' AND account_of(7, 0, 0) = ANY (accounts);

-- A line of the bank's also says in which statement it stands.
CREATE OR REPLACE VIEW bank_line_shown AS
    SELECT l.scheme, l.line, l.statement,
           l.disposition IN ('unmatched', 'underpaid', 'overpaid') AND r.line IS NULL AS open,
           jsonb_strip_nulls(jsonb_build_object(
               'line', s.code || '.' || l.line, 'bank_statement', s.code || '.' || l.statement, 'booked_on', l.booked_on,
               'amount', amount_text(l.amount, s.decimals),
               'end_to_end', l.end_to_end, 'reference', l.reference, 'return_reason', l.return_reason,
               'disposition', l.disposition, 'payment_id', l.payment_id, 'entry', l.entry)) AS shown,
           CASE WHEN r.line IS NOT NULL THEN jsonb_strip_nulls(jsonb_build_object(
               'at', instant_text(r.resolved_at), 'by', k.name, 'note', r.note, 'payment_id', r.payment_id,
               'participant', p.code, 'account', r.account, 'entries', to_jsonb(r.entries), 'proposal', r.proposal)) END AS resolution
      FROM bank_line l
      JOIN scheme s ON s.id = l.scheme
      LEFT JOIN bank_line_resolution r ON (r.scheme, r.line) = (l.scheme, l.line)
      LEFT JOIN api_key k ON k.id = r.api_key
      LEFT JOIN participant p ON p.id = r.participant;

-- The bank's line that paid a payment, and the one that was its return; by name. A person may have said so.
CREATE FUNCTION bank_line_of(of_scheme integer, of_payment text, is_return boolean) RETURNS text
    LANGUAGE sql STABLE
    RETURN (SELECT s.code || '.' || taken.line
              FROM (SELECT l.line FROM bank_line l
                     WHERE l.scheme = of_scheme AND l.payment_id = of_payment
                       AND l.disposition = CASE WHEN is_return THEN 'returned' ELSE 'matched' END
                    UNION ALL
                    SELECT r.line FROM bank_line_resolution r
                     WHERE r.scheme = of_scheme AND r.payment_id = of_payment AND r.came_back = is_return) AS taken
              JOIN scheme s ON s.id = of_scheme
             LIMIT 1);

-- How a statement is shown.
CREATE VIEW bank_statement_shown AS
    SELECT t.scheme, t.statement, t.last_day, jsonb_strip_nulls(jsonb_build_object(
               'bank_statement', s.code || '.' || t.statement, 'scheme', s.code, 'statement', t.statement_id, 'account', t.account,
               'sequence', nullif(t.sequence, 0), 'from', t.first_day, 'to', t.last_day,
               'opening', amount_text(t.opening, s.decimals), 'closing', amount_text(t.closing, s.decimals),
               'booked', amount_text(t.booked, s.decimals), 'currency', s.currency,
               'ties', CASE WHEN tie.opening_off IS NOT NULL OR tie.lines_off IS NOT NULL
                            THEN coalesce(tie.opening_off, 0) = 0 AND coalesce(tie.lines_off, 0) = 0 END,
               'expected_opening', amount_text(tie.expected - t.repeated, s.decimals),
               'opening_off', amount_text(nullif(tie.opening_off, 0), s.decimals),
               'lines_off', amount_text(nullif(tie.lines_off, 0), s.decimals),
               'balances', t.balances, 'received_at', instant_text(d.received_at), 'received_from', k.name)) AS shown
      FROM bank_statement t
      JOIN scheme s ON s.id = t.scheme
      JOIN bank_document d ON (d.scheme, d.document) = (t.scheme, t.document)
      JOIN api_key k ON k.id = d.api_key
     CROSS JOIN LATERAL bank_statement_tie(t) AS tie;
GRANT SELECT ON bank_statement_shown TO depositd_service;
