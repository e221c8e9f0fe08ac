-- Fees by participant, kind of site and cup type, a standing fee per site and month, and dates for what fees depend on.

-- Rows of fees, in their order: participant, site_kind, cup_type (codes; one that is missing: any), and of service_fee,
-- handling_fee and monthly_fee (minor units) those that the row states.
ALTER TABLE terms
    ADD COLUMN monthly_fee bigint CHECK (monthly_fee >= 0), -- per site; null: none
    ADD COLUMN fees        jsonb CHECK (jsonb_typeof(fees) = 'array' AND fees <> '[]'); -- null: no rows

-- The rows, numbered from 1 within their terms.
CREATE VIEW fee_row AS
    SELECT t.scheme, t.effective_date, r.position::integer AS position, p.id AS participant, r.fee ->> 'site_kind' AS site_kind,
           c.id AS cup_type, (r.fee ->> 'service_fee')::bigint AS service_fee, (r.fee ->> 'handling_fee')::bigint AS handling_fee,
           (r.fee ->> 'monthly_fee')::bigint AS monthly_fee
      FROM terms t
     CROSS JOIN LATERAL jsonb_array_elements(t.fees) WITH ORDINALITY AS r(fee, position)
      LEFT JOIN participant p ON p.code = r.fee ->> 'participant'
      LEFT JOIN cup_type c ON c.code = r.fee ->> 'cup_type';

-- The rows in the words of the interface.
CREATE FUNCTION fee_rows_shown(fees jsonb, decimals integer) RETURNS json
    LANGUAGE sql IMMUTABLE
    RETURN (SELECT json_agg(json_strip_nulls(json_build_object(
                       'participant', f.fee -> 'participant', 'site_kind', f.fee -> 'site_kind', 'cup_type', f.fee -> 'cup_type',
                       'service_fee', amount_text((f.fee ->> 'service_fee')::bigint, decimals),
                       'handling_fee', amount_text((f.fee ->> 'handling_fee')::bigint, decimals),
                       'monthly_fee', amount_text((f.fee ->> 'monthly_fee')::bigint, decimals))) ORDER BY f.position)
              FROM jsonb_array_elements(fees) WITH ORDINALITY AS f(fee, position));

-- What terms say of fees beyond the two that all terms have: nothing, for terms of before.
CREATE FUNCTION terms_fees_state(t terms) RETURNS jsonb
    LANGUAGE sql STABLE
    RETURN (SELECT jsonb_strip_nulls(jsonb_build_object('monthly_fee', amount_text(t.monthly_fee, c.decimals),
                                                        'fees', fee_rows_shown(t.fees, c.decimals)))
              FROM scheme c WHERE c.id = t.scheme);
CREATE OR REPLACE FUNCTION terms_state(t terms) RETURNS jsonb
    LANGUAGE sql STABLE
    RETURN (SELECT jsonb_build_object(
                'netting', t.netting, 'minimum_payment', amount_text(t.minimum_payment, c.decimals),
                'service_fee', amount_text(t.service_fee, c.decimals), 'handling_fee', amount_text(t.handling_fee, c.decimals),
                'tax_rate', rate_text(t.tax_rate_ppm), 'shortage_terms', t.shortage_terms, 'variance_terms', t.variance_terms)
                || terms_pay_days_state(t) || terms_fees_state(t)
              FROM scheme c WHERE c.id = t.scheme);

-- Until the first of these rows the values of participant and site hold.
CREATE TABLE tax_registration (
    participant    integer NOT NULL REFERENCES participant,
    effective_date date NOT NULL,
    tax_registered boolean NOT NULL,
    PRIMARY KEY (participant, effective_date)
);
CREATE TABLE site_kind (
    site           integer NOT NULL REFERENCES site,
    effective_date date NOT NULL,
    kind           text NOT NULL CHECK (kind IN ('cafe', 'return_point', 'hub')),
    PRIMARY KEY (site, effective_date)
);
GRANT SELECT, INSERT ON tax_registration, site_kind TO depositd_service;
GRANT UPDATE (tax_registered) ON tax_registration TO depositd_service;
GRANT UPDATE (kind) ON site_kind TO depositd_service;

CREATE FUNCTION tax_registered_on(of_participant integer, day date) RETURNS boolean
    LANGUAGE sql STABLE STRICT PARALLEL SAFE
    RETURN coalesce((SELECT r.tax_registered FROM tax_registration r WHERE r.participant = of_participant AND r.effective_date <= day
                      ORDER BY r.effective_date DESC LIMIT 1),
                    (SELECT p.tax_registered FROM participant p WHERE p.id = of_participant));
CREATE FUNCTION site_kind_on(of_site integer, day date) RETURNS text
    LANGUAGE sql STABLE STRICT PARALLEL SAFE
    RETURN coalesce((SELECT k.kind FROM site_kind k WHERE k.site = of_site AND k.effective_date <= day
                      ORDER BY k.effective_date DESC LIMIT 1),
                    (SELECT s.kind FROM site s WHERE s.id = of_site));

-- Values of days that are closing or closed stand. Deferred, as for terms: the service writes first, and then says why
-- it may not.
CREATE FUNCTION dated_at_sites_guard() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE
    by_site constant boolean := TG_TABLE_NAME = 'site_kind';
    since   date := NEW.effective_date;
BEGIN
    IF TG_OP = 'UPDATE' THEN
        since := least(since, OLD.effective_date);
    END IF;
    IF EXISTS (SELECT FROM site s JOIN business_day d ON d.scheme = s.scheme AND d.business_date >= greatest(since, s.opened_on)
                WHERE d.state <> 'open'
                  AND CASE WHEN by_site THEN s.id = (to_jsonb(NEW) ->> 'site')::integer
                           ELSE s.participant = (to_jsonb(NEW) ->> 'participant')::integer END) THEN
        RAISE EXCEPTION 'a day since then is closed' USING ERRCODE = 'integrity_constraint_violation';
    END IF;
    RETURN NULL;
END $$;
CREATE CONSTRAINT TRIGGER tax_registration_guard AFTER INSERT OR UPDATE ON tax_registration DEFERRABLE INITIALLY DEFERRED
    FOR EACH ROW EXECUTE FUNCTION dated_at_sites_guard();
CREATE CONSTRAINT TRIGGER site_kind_guard AFTER INSERT OR UPDATE ON site_kind DEFERRABLE INITIALLY DEFERRED
    FOR EACH ROW EXECUTE FUNCTION dated_at_sites_guard();

-- Each change of them is recorded, as of all reference data.
CREATE FUNCTION tax_registration_state(r tax_registration) RETURNS jsonb
    LANGUAGE sql STABLE
    RETURN jsonb_build_object('tax_registered', r.tax_registered);
CREATE FUNCTION tax_registration_name(r tax_registration) RETURNS text
    LANGUAGE sql STABLE
    RETURN (SELECT format('%s/%s', p.code, to_char(r.effective_date, 'YYYY-MM-DD')) FROM participant p WHERE p.id = r.participant);
CREATE FUNCTION site_kind_state(k site_kind) RETURNS jsonb
    LANGUAGE sql STABLE
    RETURN jsonb_build_object('kind', k.kind);
CREATE FUNCTION site_kind_name(k site_kind) RETURNS text
    LANGUAGE sql STABLE
    RETURN (SELECT format('%s/%s', s.code, to_char(k.effective_date, 'YYYY-MM-DD')) FROM site s WHERE s.id = k.site);

CREATE FUNCTION keep_tax_registration_change() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE
    c reference_change;
BEGIN
    c.of_what := 'tax_registration';
    c.subject := 0;
    c.name := CASE WHEN TG_OP = 'DELETE' THEN tax_registration_name(OLD) ELSE tax_registration_name(NEW) END;
    c.before := CASE WHEN TG_OP <> 'INSERT' THEN tax_registration_state(OLD) END;
    c.after := CASE WHEN TG_OP <> 'DELETE' THEN tax_registration_state(NEW) END;
    IF c.before IS DISTINCT FROM c.after THEN
        PERFORM add_change(c);
    END IF;
    RETURN NULL;
END $$;
CREATE TRIGGER keep_change AFTER INSERT OR UPDATE OR DELETE ON tax_registration
    FOR EACH ROW EXECUTE FUNCTION keep_tax_registration_change();

CREATE FUNCTION keep_site_kind_change() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE
    c reference_change;
BEGIN
    c.of_what := 'site_kind';
    c.subject := 0;
    c.scheme := (SELECT s.scheme FROM site s WHERE s.id = CASE WHEN TG_OP = 'DELETE' THEN OLD.site ELSE NEW.site END);
    c.name := CASE WHEN TG_OP = 'DELETE' THEN site_kind_name(OLD) ELSE site_kind_name(NEW) END;
    c.before := CASE WHEN TG_OP <> 'INSERT' THEN site_kind_state(OLD) END;
    c.after := CASE WHEN TG_OP <> 'DELETE' THEN site_kind_state(NEW) END;
    IF c.before IS DISTINCT FROM c.after THEN
        PERFORM add_change(c);
    END IF;
    RETURN NULL;
END $$;
CREATE TRIGGER keep_change AFTER INSERT OR UPDATE OR DELETE ON site_kind FOR EACH ROW EXECUTE FUNCTION keep_site_kind_change();

-- They join the kinds of things that are recorded.
DO $$
DECLARE
    known text := (SELECT pg_get_expr(conbin, conrelid) FROM pg_constraint
                    WHERE conrelid = 'reference_change'::regclass AND conname = 'reference_change_of_what_check');
    state text := rtrim(pg_get_viewdef('reference_state'::regclass), '; ');
BEGIN
    ALTER TABLE reference_change DROP CONSTRAINT reference_change_of_what_check;
    EXECUTE format('ALTER TABLE reference_change ADD CONSTRAINT reference_change_of_what_check
                    CHECK (%s OR of_what IN (''tax_registration'', ''site_kind''))', known);
    EXECUTE format('CREATE OR REPLACE VIEW reference_state AS %s
        UNION ALL SELECT NULL, ''tax_registration'', tax_registration_name(r), 0, tax_registration_state(r), NULL
                    FROM tax_registration r
        UNION ALL SELECT (SELECT s.scheme FROM site s WHERE s.id = k.site), ''site_kind'', site_kind_name(k), 0,
                         site_kind_state(k), NULL
                    FROM site_kind k', state);
END $$;

-- What a close charged a site, by each row of each document of terms, at each rate of tax: what the amounts of its fees
-- are the sum of.
CREATE TABLE fee_line (
    scheme        integer NOT NULL,
    business_date date NOT NULL,
    site          integer NOT NULL,
    fee           text NOT NULL CHECK (fee IN ('service', 'handling', 'standing')),
    terms_date    date NOT NULL,    -- effective_date of the terms
    fee_row       integer NOT NULL, -- its position there; 0: the terms' own fee
    tax_rate_ppm  integer NOT NULL,
    quantity      bigint NOT NULL,  -- cups less reversed ones, or months
    each          bigint NOT NULL,  -- minor units
    PRIMARY KEY (scheme, business_date, site, fee, terms_date, fee_row, tax_rate_ppm)
);
CREATE TRIGGER fee_line_guard AFTER INSERT ON fee_line
    REFERENCING NEW TABLE AS inserted FOR EACH STATEMENT EXECUTE FUNCTION closing_day_guard();
GRANT SELECT, INSERT ON fee_line TO depositd_service;

-- Days through this one were closed by a version that kept no lines of fees.
CREATE TABLE older_fee_lines (
    scheme  integer PRIMARY KEY,
    through date NOT NULL
);
INSERT INTO older_fee_lines
SELECT scheme, max(business_date) FROM business_day WHERE state = 'closed' GROUP BY scheme;
GRANT SELECT ON older_fee_lines TO depositd_service;

-- The fees of a site's day. Tax is rounded once per fee.
CREATE VIEW fee_day AS
    SELECT scheme, business_date, site,
           coalesce(sum(quantity::numeric * each) FILTER (WHERE fee = 'service'), 0) AS service_fee,
           round_half_even(coalesce(sum(quantity::numeric * each * tax_rate_ppm) FILTER (WHERE fee = 'service'), 0) * 0.000001)
               AS service_tax,
           coalesce(sum(quantity::numeric * each) FILTER (WHERE fee = 'handling'), 0) AS handling_fee,
           round_half_even(coalesce(sum(quantity::numeric * each * tax_rate_ppm) FILTER (WHERE fee = 'handling'), 0) * 0.000001)
               AS handling_tax,
           coalesce(sum(quantity::numeric * each) FILTER (WHERE fee = 'standing'), 0) AS standing_fee,
           round_half_even(coalesce(sum(quantity::numeric * each * tax_rate_ppm) FILTER (WHERE fee = 'standing'), 0) * 0.000001)
               AS standing_tax
      FROM fee_line GROUP BY scheme, business_date, site;

GRANT SELECT ON fee_row, fee_day TO depositd_service;

-- How a site was at a close, as its changes tell.
CREATE INDEX ON reference_change (subject, number) WHERE of_what = 'site';
