-- Agreements between two schemes: for how much a host pays out cups that carry another scheme's deposit. Two holders
-- sign each, one for either scheme.

-- The amount of a cup by type, in minor units of the agreed currency. No cup types: from that day on nothing is agreed.
CREATE TABLE agreement (
    home             integer NOT NULL REFERENCES scheme,
    host             integer NOT NULL REFERENCES scheme CHECK (host <> home),
    effective_date   date NOT NULL,      -- a business day of the host
    in_host_currency boolean NOT NULL,   -- else the amounts are in the home's currency
    rate_e12         bigint NOT NULL CHECK (rate_e12 > 0), -- units of the other currency for one of this, times 10^12
    cup_types        integer[] NOT NULL, -- ids in ascending order, each once
    amounts          bigint[] NOT NULL,
    home_signed_by   integer REFERENCES api_key, -- null until then
    host_signed_by   integer REFERENCES api_key,
    PRIMARY KEY (home, host, effective_date),
    CHECK (cardinality(amounts) = cardinality(cup_types)),
    CHECK (array_position(cup_types, NULL) IS NULL AND array_position(amounts, NULL) IS NULL AND 0 < ALL (amounts))
);
CREATE INDEX ON agreement (host);
GRANT SELECT, INSERT ON agreement TO depositd_service;
GRANT UPDATE (in_host_currency, rate_e12, cup_types, amounts, home_signed_by, host_signed_by) ON agreement TO depositd_service;

-- Rows of days that are closed at the host stand; the rows of a pair are all in one currency; two people signed.
-- Deferred: the service writes first, and then says why it may not.
CREATE FUNCTION agreement_guard() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF EXISTS (SELECT FROM business_day d
                WHERE d.scheme = NEW.host AND d.business_date >= NEW.effective_date AND d.state <> 'open') THEN
        RAISE EXCEPTION 'a day since then is closed' USING ERRCODE = 'integrity_constraint_violation';
    END IF;
    IF EXISTS (SELECT FROM agreement a
                WHERE a.home = NEW.home AND a.host = NEW.host AND a.in_host_currency <> NEW.in_host_currency) THEN
        RAISE EXCEPTION 'agreements of a pair are in one currency' USING ERRCODE = 'integrity_constraint_violation';
    END IF;
    IF (SELECT count(DISTINCT lower(btrim(regexp_replace(k.holder, '\s+', ' ', 'g')))) FROM api_key k
         WHERE k.id IN (NEW.home_signed_by, NEW.host_signed_by)) <> 2 THEN
        RAISE EXCEPTION 'two people sign an agreement' USING ERRCODE = 'integrity_constraint_violation';
    END IF;
    RETURN NULL;
END $$;
CREATE CONSTRAINT TRIGGER agreement_guard AFTER INSERT OR UPDATE ON agreement DEFERRABLE INITIALLY DEFERRED
    FOR EACH ROW EXECUTE FUNCTION agreement_guard();

CREATE FUNCTION exchange_rate_text(rate_e12 bigint) RETURNS text
    LANGUAGE sql IMMUTABLE STRICT PARALLEL SAFE
    RETURN trim_scale(rate_e12 / 1000000000000::numeric)::text;

-- An agreement in the words of the interface, without its signers.
CREATE FUNCTION agreement_terms(a agreement) RETURNS jsonb
    LANGUAGE sql STABLE
    RETURN (SELECT jsonb_build_object(
                'currency', c.currency, 'rate', exchange_rate_text(a.rate_e12),
                'values', (SELECT coalesce(jsonb_agg(jsonb_build_object('cup_type', u.code, 'amount', amount_text(v.amount, c.decimals))
                                                     ORDER BY u.code COLLATE "C"), '[]')
                             FROM unnest(a.cup_types, a.amounts) AS v(cup_type, amount) JOIN cup_type u ON u.id = v.cup_type))
              FROM scheme c WHERE c.id = CASE WHEN a.in_host_currency THEN a.host ELSE a.home END);
CREATE FUNCTION agreement_signers(a agreement) RETURNS jsonb
    LANGUAGE sql STABLE
    RETURN (SELECT coalesce(jsonb_object_agg(m.role, jsonb_build_object('key', k.name, 'holder', k.holder)), '{}')
              FROM (VALUES ('signed_for_home', a.home_signed_by), ('signed_for_host', a.host_signed_by)) AS m(role, api_key)
              JOIN api_key k ON k.id = m.api_key);
CREATE FUNCTION agreement_name(a agreement) RETURNS text
    LANGUAGE sql STABLE
    RETURN (SELECT format('%s/%s', s.code, to_char(a.effective_date, 'YYYY-MM-DD')) FROM scheme s WHERE s.id = a.host);

-- Changes of it are the home scheme's: 0044_changes_at_once.sql keeps them.
DO $$
DECLARE
    known text := (SELECT pg_get_expr(conbin, conrelid) FROM pg_constraint
                    WHERE conrelid = 'reference_change'::regclass AND conname = 'reference_change_of_what_check');
    state text := rtrim(pg_get_viewdef('reference_state'::regclass), '; ');
    asked text := (SELECT pg_get_expr(conbin, conrelid) FROM pg_constraint
                    WHERE conrelid = 'proposal'::regclass AND conname = 'proposal_what_check');
BEGIN
    ALTER TABLE reference_change DROP CONSTRAINT reference_change_of_what_check;
    EXECUTE format('ALTER TABLE reference_change ADD CONSTRAINT reference_change_of_what_check
                    CHECK (%s OR of_what = ''agreement'')', known);
    EXECUTE format('CREATE OR REPLACE VIEW reference_state AS %s
        UNION ALL SELECT a.home, ''agreement'', agreement_name(a), a.host, agreement_terms(a) || agreement_signers(a), NULL
                    FROM agreement a', state);
    ALTER TABLE proposal DROP CONSTRAINT proposal_what_check;
    EXECUTE format('ALTER TABLE proposal ADD CONSTRAINT proposal_what_check CHECK (%s OR what = ''agreement'')', asked);
END $$;

-- Who is asked to sign sees the whole request.
CREATE OR REPLACE VIEW proposal_shown AS
    SELECT p.number, p.schemes, coalesce(d.decision, 'open') AS status, jsonb_strip_nulls(jsonb_build_object(
               'proposal', p.number, 'status', coalesce(d.decision, 'open'), 'what', p.what, 'name', nullif(p.name, ''),
               'schemes', (SELECT coalesce(jsonb_agg(s.code ORDER BY s.code COLLATE "C"), '[]')
                             FROM scheme s WHERE s.id = ANY (p.schemes)),
               'proposed_at', instant_text(p.proposed_at),
               'proposed_by', jsonb_build_object('key', k.name, 'holder', k.holder), 'why', p.why,
               'changes', p.changes, 'others', p.others,
               'request', CASE WHEN p.what IN ('bank_line', 'exception', 'month', 'agreement') THEN p.body::jsonb END,
               'decided_at', instant_text(d.decided_at),
               'decided_by', CASE WHEN n.id IS NOT NULL THEN jsonb_build_object('key', n.name, 'holder', n.holder) END,
               'note', d.note)) AS shown
      FROM proposal p
      JOIN api_key k ON k.id = p.proposed_by
      LEFT JOIN proposal_decision d ON d.proposal = p.number
      LEFT JOIN api_key n ON n.id = d.decided_by;
