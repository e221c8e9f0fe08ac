-- Every change of reference data, terms and keys is a row that nobody can change; and a key says who holds it and who made it.

ALTER TABLE api_key ADD COLUMN holder text CHECK (length(holder) BETWEEN 1 AND 100);
UPDATE api_key SET holder = name;
ALTER TABLE api_key ALTER COLUMN holder SET NOT NULL;
ALTER TABLE api_key
    ADD COLUMN made_by    integer,      -- a key; null: the command line
    ADD COLUMN revoked_by integer,      -- a key
    ADD COLUMN renewed_at timestamptz;  -- since then its holder alone knows the secret; null: its maker has seen it

-- One row per thing that a transaction made, changed or removed. Numbers have no gap: they are drawn under the lock of
-- network_head. A row is a link of a chain: digest = SHA-256(previous digest, change_text of the row).
CREATE TABLE reference_change (
    number     bigint PRIMARY KEY,
    changed_at timestamptz NOT NULL,
    way        text NOT NULL CHECK (way IN ('service', 'command_line', 'database')), -- database: past the service
    api_key    integer CHECK ((api_key IS NOT NULL) = (way = 'service')),
    scheme     integer, -- null: it concerns the whole network
    of_what    text NOT NULL CHECK (of_what IN ('cup_type', 'participant', 'scheme', 'terms', 'refund_value', 'site', 'key')),
    name       text NOT NULL,    -- as in the path, after the scheme's code: a code, a date, or both
    subject    integer NOT NULL, -- the id of the row that changed; 0: the name tells
    before     jsonb,            -- null: it was not there
    after      jsonb,            -- null: it is gone
    secret     bytea,            -- of a key: SHA-256 of the hash of its secret, which tells nothing of the secret
    why        text,
    proposal   bigint,           -- by whose approval it was made; null: it needed none
    digest     bytea NOT NULL
);
CREATE INDEX ON reference_change (scheme, number);

-- The part of the chain that a close found: the number of the last change then. Null: the day was closed before changes were kept.
ALTER TABLE settlement ADD COLUMN last_change bigint;

-- Whether the payments of a day need two people is as it was when the day was cut.
ALTER TABLE business_day ADD COLUMN dual_control boolean; -- null: it is open
ALTER TABLE business_day DISABLE TRIGGER business_day_guard;
UPDATE business_day d SET dual_control = s.dual_control FROM scheme s WHERE s.id = d.scheme AND d.state <> 'open';
ALTER TABLE business_day ENABLE TRIGGER business_day_guard;

CREATE FUNCTION dual_control_guard() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION 'the cut has fixed whether the day is under dual control' USING ERRCODE = 'integrity_constraint_violation';
END $$;
CREATE TRIGGER dual_control_guard BEFORE UPDATE ON business_day
    FOR EACH ROW WHEN (OLD.dual_control IS NOT NULL AND NEW.dual_control IS DISTINCT FROM OLD.dual_control)
    EXECUTE FUNCTION dual_control_guard();

CREATE FUNCTION change_text(c reference_change) RETURNS text
    LANGUAGE sql STABLE PARALLEL SAFE
    RETURN json_build_array(c.number, instant_us(c.changed_at), c.way, c.api_key, c.scheme, c.of_what, c.name, c.subject,
                            c.before, c.after, encode(c.secret, 'hex'), c.why, c.proposal)::text;

CREATE FUNCTION change_digest(previous bytea, c reference_change) RETURNS bytea
    LANGUAGE sql STABLE PARALLEL SAFE
    RETURN sha256(coalesce(previous, decode(repeat('00', 32), 'hex')) || convert_to(change_text(c), 'UTF8'));

-- What there is to say of each kind of thing, in the words of the interface.
CREATE FUNCTION cup_type_state(c cup_type) RETURNS jsonb
    LANGUAGE sql STABLE
    RETURN jsonb_strip_nulls(jsonb_build_object('name', c.name, 'volume_ml', c.volume_ml, 'mass_g', c.mass_g, 'grai', c.grai));

CREATE FUNCTION participant_state(p participant) RETURNS jsonb
    LANGUAGE sql STABLE
    RETURN jsonb_strip_nulls(jsonb_build_object(
        'name', p.name, 'bank_account', p.bank_account, 'bic', p.bic, 'tax_registered', p.tax_registered, 'mandate', p.mandate));

CREATE FUNCTION scheme_state(c scheme) RETURNS jsonb
    LANGUAGE sql STABLE
    RETURN jsonb_strip_nulls(jsonb_build_object(
        'currency', c.currency, 'time_zone', c.time_zone, 'cut_off', to_char(c.cut_off, 'HH24:MI'),
        'close_after_minutes', c.close_after_minutes, 'stock_terms', c.stock_terms,
        'return_target', rate_text(c.return_target_ppm), 'dual_control', c.dual_control,
        'count_tolerance', c.count_tolerance, 'variance_limit', amount_text(c.variance_limit, c.decimals),
        'carry_days', c.carry_days, 'operator', c.operator, 'holidays', c.holidays));

CREATE FUNCTION terms_state(t terms) RETURNS jsonb
    LANGUAGE sql STABLE
    RETURN (SELECT jsonb_build_object(
                'netting', t.netting, 'minimum_payment', amount_text(t.minimum_payment, c.decimals),
                'service_fee', amount_text(t.service_fee, c.decimals), 'handling_fee', amount_text(t.handling_fee, c.decimals),
                'tax_rate', rate_text(t.tax_rate_ppm), 'shortage_terms', t.shortage_terms, 'variance_terms', t.variance_terms)
              FROM scheme c WHERE c.id = t.scheme);

CREATE FUNCTION refund_value_state(v refund_value) RETURNS jsonb
    LANGUAGE sql STABLE
    RETURN (SELECT jsonb_build_object('amount', amount_text(v.amount, c.decimals)) FROM scheme c WHERE c.id = v.scheme);

CREATE FUNCTION refund_value_name(v refund_value) RETURNS text
    LANGUAGE sql STABLE
    RETURN (SELECT format('%s/%s', u.code, to_char(v.effective_date, 'YYYY-MM-DD')) FROM cup_type u WHERE u.id = v.cup_type);

CREATE FUNCTION site_state(s site) RETURNS jsonb
    LANGUAGE sql STABLE
    RETURN jsonb_strip_nulls(jsonb_build_object(
        'scheme', (SELECT code FROM scheme WHERE id = s.scheme),
        'participant', (SELECT code FROM participant WHERE id = s.participant), 'name', s.name, 'kind', s.kind,
        'opened_on', s.opened_on, 'closed_on', s.closed_on, 'latitude', s.latitude, 'longitude', s.longitude, 'gln', s.gln,
        'par_stock', s.par_stock));

CREATE FUNCTION key_state(k api_key) RETURNS jsonb
    LANGUAGE sql STABLE
    RETURN jsonb_strip_nulls(jsonb_build_object(
        'holder', k.holder, 'role', k.role, 'participant', (SELECT code FROM participant WHERE id = k.participant),
        'sites', (SELECT jsonb_agg(s.code ORDER BY s.code COLLATE "C")
                    FROM api_key_site n JOIN site s ON s.id = n.site WHERE n.api_key = k.id),
        'made_by', (SELECT name FROM api_key WHERE id = k.made_by), 'renewed_at', instant_text(k.renewed_at),
        'revoked_at', instant_text(k.revoked_at), 'revoked_by', (SELECT name FROM api_key WHERE id = k.revoked_by)));

-- All things as they are now, to be held against what the last change left.
CREATE VIEW reference_state AS
    SELECT NULL::integer AS scheme, 'cup_type' AS of_what, code::text AS name, id AS subject, cup_type_state(c) AS state,
           NULL::bytea AS secret
      FROM cup_type c
    UNION ALL SELECT NULL, 'participant', code, id, participant_state(p), NULL FROM participant p
    UNION ALL SELECT id, 'scheme', code, id, scheme_state(c), NULL FROM scheme c
    UNION ALL SELECT scheme, 'terms', to_char(effective_date, 'YYYY-MM-DD'), 0, terms_state(t), NULL FROM terms t
    UNION ALL SELECT scheme, 'refund_value', refund_value_name(v), 0, refund_value_state(v), NULL FROM refund_value v
    UNION ALL SELECT scheme, 'site', code, id, site_state(s), NULL FROM site s
    UNION ALL SELECT NULL, 'key', name, id, key_state(k), sha256(secret_hash) FROM api_key k;

-- Who changes what is to follow in this transaction, when, and why. A change without that was made past the service.
CREATE FUNCTION begin_changes(by_key integer, at timestamptz, why text, proposal bigint) RETURNS void
    LANGUAGE sql
    BEGIN ATOMIC
        SELECT set_config('depositd.change_by', coalesce(by_key, 0)::text, true),
               set_config('depositd.change_at', at::text, true), set_config('depositd.change_why', coalesce(why, ''), true),
               set_config('depositd.change_proposal', coalesce(proposal::text, ''), true);
    END;

CREATE FUNCTION add_change(c reference_change) RETURNS void LANGUAGE plpgsql AS $$
DECLARE
    by_key integer := nullif(current_setting('depositd.change_by', true), '')::integer;
    last   reference_change;
BEGIN
    PERFORM FROM network_head FOR UPDATE;
    SELECT * INTO last FROM reference_change ORDER BY number DESC LIMIT 1;
    c.number := coalesce(last.number, 0) + 1;
    c.way := CASE WHEN by_key IS NULL THEN 'database' WHEN by_key = 0 THEN 'command_line' ELSE 'service' END;
    c.api_key := nullif(by_key, 0);
    c.changed_at := CASE WHEN by_key IS NULL THEN clock_timestamp()
                         ELSE current_setting('depositd.change_at')::timestamptz END;
    c.why := CASE WHEN by_key IS NULL THEN format('by the database role %s', session_user)
                  ELSE nullif(current_setting('depositd.change_why'), '') END;
    c.proposal := CASE WHEN by_key IS NOT NULL THEN nullif(current_setting('depositd.change_proposal'), '')::bigint END;
    c.digest := change_digest(last.digest, c);
    INSERT INTO reference_change SELECT c.*;
END $$;

-- At the end of each statement, when all that it did is there to be seen.
CREATE FUNCTION keep_change() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE
    c           reference_change;
    same_secret boolean := true;
BEGIN
    c.of_what := TG_ARGV[0];
    CASE TG_TABLE_NAME
        WHEN 'cup_type' THEN
            c.subject := coalesce(NEW.id, OLD.id);
            c.name := coalesce(NEW.code, OLD.code);
            c.before := CASE WHEN TG_OP <> 'INSERT' THEN cup_type_state(OLD) END;
            c.after := CASE WHEN TG_OP <> 'DELETE' THEN cup_type_state(NEW) END;
        WHEN 'participant' THEN
            c.subject := coalesce(NEW.id, OLD.id);
            c.name := coalesce(NEW.code, OLD.code);
            c.before := CASE WHEN TG_OP <> 'INSERT' THEN participant_state(OLD) END;
            c.after := CASE WHEN TG_OP <> 'DELETE' THEN participant_state(NEW) END;
        WHEN 'scheme' THEN
            c.subject := coalesce(NEW.id, OLD.id);
            c.scheme := c.subject;
            c.name := coalesce(NEW.code, OLD.code);
            c.before := CASE WHEN TG_OP <> 'INSERT' THEN scheme_state(OLD) END;
            c.after := CASE WHEN TG_OP <> 'DELETE' THEN scheme_state(NEW) END;
        WHEN 'terms' THEN
            c.subject := 0;
            c.scheme := coalesce(NEW.scheme, OLD.scheme);
            c.name := to_char(coalesce(NEW.effective_date, OLD.effective_date), 'YYYY-MM-DD');
            c.before := CASE WHEN TG_OP <> 'INSERT' THEN terms_state(OLD) END;
            c.after := CASE WHEN TG_OP <> 'DELETE' THEN terms_state(NEW) END;
        WHEN 'refund_value' THEN
            c.subject := 0;
            c.scheme := coalesce(NEW.scheme, OLD.scheme);
            c.name := CASE WHEN TG_OP = 'DELETE' THEN refund_value_name(OLD) ELSE refund_value_name(NEW) END;
            c.before := CASE WHEN TG_OP <> 'INSERT' THEN refund_value_state(OLD) END;
            c.after := CASE WHEN TG_OP <> 'DELETE' THEN refund_value_state(NEW) END;
        WHEN 'site' THEN
            c.subject := coalesce(NEW.id, OLD.id);
            c.scheme := coalesce(NEW.scheme, OLD.scheme);
            c.name := coalesce(NEW.code, OLD.code);
            c.before := CASE WHEN TG_OP <> 'INSERT' THEN site_state(OLD) END;
            c.after := CASE WHEN TG_OP <> 'DELETE' THEN site_state(NEW) END;
        WHEN 'api_key' THEN
            c.subject := coalesce(NEW.id, OLD.id);
            c.name := coalesce(NEW.name, OLD.name);
            c.before := CASE WHEN TG_OP <> 'INSERT' THEN key_state(OLD) END;
            c.after := CASE WHEN TG_OP <> 'DELETE' THEN key_state(NEW) END;
            c.secret := CASE WHEN TG_OP <> 'DELETE' THEN sha256(NEW.secret_hash) END;
            same_secret := TG_OP = 'UPDATE' AND OLD.secret_hash = NEW.secret_hash;
    END CASE;
    IF c.before IS DISTINCT FROM c.after OR NOT same_secret THEN
        PERFORM add_change(c);
    END IF;
    RETURN NULL;
END $$;

CREATE TRIGGER keep_change AFTER INSERT OR UPDATE OR DELETE ON cup_type FOR EACH ROW EXECUTE FUNCTION keep_change('cup_type');
CREATE TRIGGER keep_change AFTER INSERT OR UPDATE OR DELETE ON participant FOR EACH ROW EXECUTE FUNCTION keep_change('participant');
CREATE TRIGGER keep_change AFTER INSERT OR UPDATE OR DELETE ON scheme FOR EACH ROW EXECUTE FUNCTION keep_change('scheme');
CREATE TRIGGER keep_change AFTER INSERT OR UPDATE OR DELETE ON terms FOR EACH ROW EXECUTE FUNCTION keep_change('terms');
CREATE TRIGGER keep_change AFTER INSERT OR UPDATE OR DELETE ON refund_value
    FOR EACH ROW EXECUTE FUNCTION keep_change('refund_value');
CREATE TRIGGER keep_change AFTER INSERT OR UPDATE OR DELETE ON site FOR EACH ROW EXECUTE FUNCTION keep_change('site');
CREATE TRIGGER keep_change AFTER INSERT OR UPDATE OR DELETE ON api_key FOR EACH ROW EXECUTE FUNCTION keep_change('key');

-- The chain begins with all that there is already.
DO $$
DECLARE
    found record;
    c     reference_change;
BEGIN
    PERFORM begin_changes(0, clock_timestamp(), 'as it was when recording began', NULL);
    FOR found IN SELECT * FROM reference_state ORDER BY scheme NULLS FIRST, of_what, subject, name LOOP
        c.scheme := found.scheme;
        c.of_what := found.of_what;
        c.name := found.name;
        c.subject := found.subject;
        c.after := found.state;
        c.secret := found.secret;
        PERFORM add_change(c);
    END LOOP;
END $$;

GRANT SELECT, INSERT ON reference_change TO depositd_service;
GRANT SELECT ON reference_state TO depositd_service;
