-- Cups that come back in another scheme than the one that issued them: the accounts, the amounts that are agreed for them, and
-- the entries by which the home follows its host.
ALTER TABLE account_kind
    DROP CONSTRAINT account_kind_scope_check,
    ADD CONSTRAINT account_kind_scope_check
        CHECK (scope IN ('scheme', 'cup_type', 'site', 'site_cup_type', 'participant', 'pair', 'other', 'other_cup_type'));
INSERT INTO account_kind (kind, word, scope, class) VALUES
    (18, 'between_schemes', 'pair', 'asset'),
    (19, 'settlement_due_scheme', 'other', 'asset'),
    (39, 'visiting', 'other_cup_type', 'source'),
    (40, 'abroad', 'other_cup_type', 'cups');
INSERT INTO entry_kind (kind, word) VALUES (27, 'return_abroad'), (28, 'reversal_abroad');

-- The owner of an account of a pair is home << 16 | host.
CREATE FUNCTION account_home(account bigint) RETURNS integer
    LANGUAGE sql IMMUTABLE PARALLEL SAFE RETURN account_owner(account) >> 16;
CREATE FUNCTION account_host(account bigint) RETURNS integer
    LANGUAGE sql IMMUTABLE PARALLEL SAFE RETURN account_owner(account) & 65535;

-- The codes of the schemes in an account's name: tern-bay,gannet-point. Null: its name has none.
CREATE FUNCTION account_schemes(account bigint) RETURNS text
    LANGUAGE sql STABLE PARALLEL SAFE
    RETURN CASE account >> 48
               WHEN 18 THEN (SELECT a.code || ',' || b.code FROM scheme a, scheme b
                              WHERE a.id = account_home(account) AND b.id = account_host(account))
               WHEN 19 THEN (SELECT s.code FROM scheme s WHERE s.id = account_owner(account))
               WHEN 39 THEN (SELECT s.code FROM scheme s WHERE s.id = account_owner(account))
               WHEN 40 THEN (SELECT s.code FROM scheme s WHERE s.id = account_owner(account)) END;

CREATE OR REPLACE FUNCTION account_name(account bigint) RETURNS text
    LANGUAGE sql STABLE PARALLEL SAFE
    RETURN (SELECT k.word || CASE k.scope
                WHEN 'scheme' THEN ''
                ELSE '(' || concat_ws(',',
                    CASE WHEN k.scope IN ('site', 'site_cup_type')
                         THEN (SELECT s.code FROM site s WHERE s.id = account_owner(account)) END,
                    CASE WHEN k.scope = 'participant'
                         THEN (SELECT p.code FROM participant p WHERE p.id = account_owner(account)) END,
                    account_schemes(account),
                    CASE WHEN k.scope IN ('cup_type', 'site_cup_type', 'other_cup_type')
                         THEN (SELECT c.code FROM cup_type c WHERE c.id = account_cup_type(account)) END) || ')'
                END
            FROM account_kind k WHERE k.kind = account_kind_of(account));
