-- One trigger for each statement keeps the changes of reference data, those of all rows that the statement touched.
-- Each change says the same as before. Lists of sites and participants are read by scheme and by participant.

-- A link of the chain, as change_digest makes it. `state` is the digest of the row before, null at the first row, which
-- follows `previous`. PL/pgSQL, which keeps a plan where a function in SQL would make one for each row.
CREATE FUNCTION change_link(state bytea, previous bytea, said text) RETURNS bytea LANGUAGE plpgsql IMMUTABLE PARALLEL SAFE AS $$
BEGIN
    RETURN sha256(coalesce(state, previous) || convert_to(said, 'UTF8'));
END $$;
CREATE AGGREGATE change_chain(previous bytea, said text) (SFUNC = change_link, STYPE = bytea);

-- As before. Functions within it are called only for terms that need them, for each call plans them anew.
CREATE OR REPLACE FUNCTION terms_state(t terms) RETURNS jsonb
    LANGUAGE sql STABLE
    RETURN (SELECT jsonb_build_object(
                'netting', t.netting, 'minimum_payment', amount_text(t.minimum_payment, c.decimals),
                'service_fee', amount_text(t.service_fee, c.decimals), 'handling_fee', amount_text(t.handling_fee, c.decimals),
                'tax_rate', rate_text(t.tax_rate_ppm), 'shortage_terms', t.shortage_terms, 'variance_terms', t.variance_terms)
                || CASE WHEN t.pay_weekdays IS NULL AND t.pay_month_days IS NULL THEN '{}' ELSE terms_pay_days_state(t) END
                || CASE WHEN t.monthly_fee IS NULL AND t.fees IS NULL THEN '{}' ELSE terms_fees_state(t) END
              FROM scheme c WHERE c.id = t.scheme);

-- Keeps changes, in the order of the list. Each has what changed; author, time, number and digest are added here.
CREATE FUNCTION add_changes(changes reference_change[]) RETURNS void LANGUAGE plpgsql AS $$
DECLARE
    by_key integer := nullif(current_setting('depositd.change_by', true), '')::integer;
    last   reference_change;
BEGIN
    PERFORM FROM network_head FOR UPDATE;
    SELECT * INTO last FROM reference_change ORDER BY number DESC LIMIT 1;
    INSERT INTO reference_change
    SELECT (n.c).number, (n.c).changed_at, (n.c).way, (n.c).api_key, (n.c).scheme, (n.c).of_what, (n.c).name, (n.c).subject,
           (n.c).before, (n.c).after, (n.c).secret, (n.c).why, (n.c).proposal,
           change_chain(coalesce(last.digest, decode(repeat('00', 32), 'hex')), change_text(n.c)) OVER (ORDER BY (n.c).number)
      FROM (SELECT ROW(coalesce(last.number, 0) + f.position,
                       CASE WHEN by_key IS NULL THEN clock_timestamp()
                            ELSE current_setting('depositd.change_at')::timestamptz END,
                       CASE WHEN by_key IS NULL THEN 'database' WHEN by_key = 0 THEN 'command_line' ELSE 'service' END,
                       nullif(by_key, 0), f.scheme, f.of_what, f.name, f.subject, f.before, f.after, f.secret,
                       CASE WHEN by_key IS NULL THEN format('by the database role %s', session_user)
                            ELSE nullif(current_setting('depositd.change_why'), '') END,
                       CASE WHEN by_key IS NOT NULL
                            THEN nullif(current_setting('depositd.change_proposal'), '')::bigint END,
                       NULL)::reference_change AS c
              FROM unnest(changes) WITH ORDINALITY AS f(number, changed_at, way, api_key, scheme, of_what, name, subject,
                                                      before, after, secret, why, proposal, digest, position)
            OFFSET 0) AS n; -- the row is made once, not for each of its columns
END $$;

-- A single change goes the same way.
CREATE OR REPLACE FUNCTION add_change(c reference_change) RETURNS void LANGUAGE plpgsql AS $$
BEGIN
    PERFORM add_changes(ARRAY[c]);
END $$;

-- At the end of each statement, when all that it did is there to be seen. The arguments are the kind of thing and
-- expressions of a row r: the key by which the rows before and after are one thing, and in whose order changes are
-- kept; then what the change says: scheme, name, subject, state.
CREATE FUNCTION keep_changes() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE
    said  text := format('SELECT %s AS key, %s::integer AS scheme, %s::text AS name, %s::integer AS subject, %s AS state
                            FROM (SELECT ROW(t.*)::%I AS r FROM %%I AS t) AS given',
                         TG_ARGV[1], TG_ARGV[2], TG_ARGV[3], TG_ARGV[4], TG_ARGV[5], TG_TABLE_NAME);
    none  text := 'SELECT * FROM (' || format(said, TG_TABLE_NAME) || ' LIMIT 0) AS none';
    changes reference_change[];
BEGIN
    CASE TG_OP -- most statements touch no row: what they name in vain costs nothing
        WHEN 'INSERT' THEN
            IF NOT EXISTS (SELECT FROM made) THEN RETURN NULL; END IF;
        WHEN 'UPDATE' THEN
            IF NOT EXISTS (SELECT FROM made) THEN RETURN NULL; END IF;
        WHEN 'DELETE' THEN
            IF NOT EXISTS (SELECT FROM gone) THEN RETURN NULL; END IF;
    END CASE;
    EXECUTE format(
        'WITH before AS MATERIALIZED (%s), after AS MATERIALIZED (%s)
         SELECT array_agg(ROW(NULL, NULL, NULL, NULL, coalesce(a.scheme, b.scheme), %L, coalesce(a.name, b.name),
                              coalesce(a.subject, b.subject), b.state, a.state, NULL, NULL, NULL, NULL)::reference_change
                          ORDER BY coalesce(a.key, b.key))
           FROM before b FULL JOIN after a ON a.key = b.key
          WHERE b.state IS DISTINCT FROM a.state',
        CASE WHEN TG_OP = 'INSERT' THEN none ELSE format(said, 'gone') END,
        CASE WHEN TG_OP = 'DELETE' THEN none ELSE format(said, 'made') END, TG_ARGV[0]) INTO changes;
    IF changes IS NOT NULL THEN
        PERFORM add_changes(changes);
    END IF;
    RETURN NULL;
END $$;

DO $$
DECLARE
    kept record;
BEGIN
    FOR kept IN SELECT * FROM (VALUES
            ('cup_type', '(r).id', 'NULL', '(r).code', '(r).id', 'cup_type_state(r)'),
            ('participant', '(r).id', 'NULL', '(r).code', '(r).id', 'participant_state(r)'),
            ('scheme', '(r).id', '(r).id', '(r).code', '(r).id', 'scheme_state(r)'),
            ('terms', 'ROW((r).scheme, (r).effective_date)', '(r).scheme', 'to_char((r).effective_date, ''YYYY-MM-DD'')',
             '0', 'terms_state(r)'),
            ('refund_value', 'ROW((r).scheme, (r).cup_type, (r).effective_date)', '(r).scheme', 'refund_value_name(r)',
             '0', 'refund_value_state(r)'),
            ('site', '(r).id', '(r).scheme', '(r).code', '(r).id', 'site_state(r)'),
            ('office_accounts', 'ROW((r).scheme, (r).effective_date)', '(r).scheme',
             'to_char((r).effective_date, ''YYYY-MM-DD'')', '0', 'office_accounts_state(r)'),
            ('tax_registration', 'ROW((r).participant, (r).effective_date)', 'NULL', 'tax_registration_name(r)', '0',
             'tax_registration_state(r)'),
            ('site_kind', 'ROW((r).site, (r).effective_date)', '(SELECT s.scheme FROM site s WHERE s.id = (r).site)',
             'site_kind_name(r)', '0', 'site_kind_state(r)'),
            ('agreement', 'ROW((r).home, (r).host, (r).effective_date)', '(r).home', 'agreement_name(r)', '(r).host',
             'agreement_terms(r) || agreement_signers(r)'))
            AS of_table(name, key, scheme, code, subject, state) LOOP
        EXECUTE format('DROP TRIGGER IF EXISTS keep_change ON %I', kept.name);
        EXECUTE format('CREATE TRIGGER keep_inserted AFTER INSERT ON %1$I REFERENCING NEW TABLE AS made
                        FOR EACH STATEMENT EXECUTE FUNCTION keep_changes(%1$L, %2$L, %3$L, %4$L, %5$L, %6$L)',
                       kept.name, kept.key, kept.scheme, kept.code, kept.subject, kept.state);
        EXECUTE format('CREATE TRIGGER keep_updated AFTER UPDATE ON %1$I REFERENCING OLD TABLE AS gone NEW TABLE AS made
                        FOR EACH STATEMENT EXECUTE FUNCTION keep_changes(%1$L, %2$L, %3$L, %4$L, %5$L, %6$L)',
                       kept.name, kept.key, kept.scheme, kept.code, kept.subject, kept.state);
        EXECUTE format('CREATE TRIGGER keep_deleted AFTER DELETE ON %1$I REFERENCING OLD TABLE AS gone
                        FOR EACH STATEMENT EXECUTE FUNCTION keep_changes(%1$L, %2$L, %3$L, %4$L, %5$L, %6$L)',
                       kept.name, kept.key, kept.scheme, kept.code, kept.subject, kept.state);
    END LOOP;
END $$;
DROP FUNCTION keep_office_accounts();
DROP FUNCTION keep_tax_registration_change();
DROP FUNCTION keep_site_kind_change();

-- Keys still go one by one: they are few, and their secrets are part of the change.
CREATE OR REPLACE FUNCTION keep_change() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE
    c           reference_change;
    same_secret boolean := TG_OP = 'UPDATE' AND OLD.secret_hash = NEW.secret_hash;
BEGIN
    c.of_what := TG_ARGV[0];
    c.subject := coalesce(NEW.id, OLD.id);
    c.name := coalesce(NEW.name, OLD.name);
    c.before := CASE WHEN TG_OP <> 'INSERT' THEN key_state(OLD) END;
    c.after := CASE WHEN TG_OP <> 'DELETE' THEN key_state(NEW) END;
    c.secret := CASE WHEN TG_OP <> 'DELETE' THEN sha256(NEW.secret_hash) END;
    IF c.before IS DISTINCT FROM c.after OR NOT same_secret THEN
        PERFORM add_change(c);
    END IF;
    RETURN NULL;
END $$;

-- Lists of sites by scheme and by participant, in the order of their codes.
CREATE INDEX ON site (scheme, code COLLATE "C");
CREATE INDEX ON site (participant, code COLLATE "C");
DROP INDEX site_scheme_idx, site_participant_idx;
