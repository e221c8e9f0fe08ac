-- The codes and names that the office's own ledger has for the accounts of a scheme; and what reading totals by day
-- needs.

-- One whole list for each date that it holds from. An account is its number; the number of a kind alone (kind << 48)
-- stands for all accounts of that kind that the list does not name themselves. No balance depends on a list, so one may
-- be set for days that are closed: every change of it is recorded.
CREATE TABLE office_accounts (
    scheme         integer NOT NULL REFERENCES scheme,
    effective_date date NOT NULL,
    accounts       bigint[] NOT NULL, -- in their order, each once
    codes          text[] NOT NULL,
    names          text[] NOT NULL,
    PRIMARY KEY (scheme, effective_date),
    CHECK (cardinality(codes) = cardinality(accounts) AND cardinality(names) = cardinality(accounts)),
    CHECK (array_position(accounts, NULL) IS NULL AND array_position(codes, NULL) IS NULL AND array_position(names, NULL) IS NULL)
);
GRANT SELECT, INSERT ON office_accounts TO depositd_service;
GRANT UPDATE (accounts, codes, names) ON office_accounts TO depositd_service;

-- The list in the words of the interface.
CREATE FUNCTION office_accounts_state(o office_accounts) RETURNS jsonb
    LANGUAGE sql STABLE
    RETURN jsonb_build_object('accounts', (
        SELECT coalesce(jsonb_agg(jsonb_build_object('account', CASE account_of(account_kind_of(u.account), 0, 0)
                                                                WHEN u.account THEN k.word ELSE account_name(u.account) END,
                                                     'code', u.code, 'name', u.name) ORDER BY u.account), '[]')
          FROM unnest(o.accounts, o.codes, o.names) AS u(account, code, name)
          JOIN account_kind k ON k.kind = account_kind_of(u.account)));

-- Changes of it are kept like those of any reference data.
CREATE FUNCTION keep_office_accounts() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE
    c reference_change;
BEGIN
    c.of_what := 'office_accounts';
    c.subject := 0;
    c.scheme := coalesce(NEW.scheme, OLD.scheme);
    c.name := to_char(coalesce(NEW.effective_date, OLD.effective_date), 'YYYY-MM-DD');
    c.before := CASE WHEN TG_OP <> 'INSERT' THEN office_accounts_state(OLD) END;
    c.after := CASE WHEN TG_OP <> 'DELETE' THEN office_accounts_state(NEW) END;
    IF c.before IS DISTINCT FROM c.after THEN
        PERFORM add_change(c);
    END IF;
    RETURN NULL;
END $$;
CREATE TRIGGER keep_change AFTER INSERT OR UPDATE OR DELETE ON office_accounts
    FOR EACH ROW EXECUTE FUNCTION keep_office_accounts();

-- One kind of thing more, whatever kinds there are.
DO $$
DECLARE
    kinds text := (SELECT pg_get_expr(conbin, conrelid) FROM pg_constraint
                    WHERE conrelid = 'reference_change'::regclass AND conname = 'reference_change_of_what_check');
    state text := rtrim(pg_get_viewdef('reference_state'::regclass), '; ');
BEGIN
    ALTER TABLE reference_change DROP CONSTRAINT reference_change_of_what_check;
    EXECUTE format('ALTER TABLE reference_change ADD CONSTRAINT reference_change_of_what_check CHECK (%s OR of_what = %L)',
                   kinds, 'office_accounts');
    EXECUTE format('CREATE OR REPLACE VIEW reference_state AS %s UNION ALL
                    SELECT scheme, %L, to_char(effective_date, %L), 0, office_accounts_state(o), NULL FROM office_accounts o',
                   state, 'office_accounts', 'YYYY-MM-DD');
END $$;

-- Every list of a scheme, with the days that it holds from and no longer holds on.
CREATE FUNCTION office_codes(of_scheme integer)
    RETURNS TABLE (since date, until date, account bigint, code text, name text)
    LANGUAGE sql STABLE ROWS 100 AS $$
    SELECT held.since, held.until, u.account, u.code, u.name
      FROM (SELECT o.effective_date AS since, lead(o.effective_date, 1, 'infinity') OVER (ORDER BY o.effective_date) AS until,
                   o.accounts, o.codes, o.names
              FROM office_accounts o WHERE o.scheme = of_scheme) AS held
     CROSS JOIN LATERAL unnest(held.accounts, held.codes, held.names) AS u(account, code, name)
$$;

-- The accounts of a scheme that keep money, of those ever touched. They are found by skipping through the key.
CREATE FUNCTION money_accounts(of_scheme integer) RETURNS SETOF bigint
    LANGUAGE sql STABLE ROWS 1000 AS $$
    WITH RECURSIVE found AS (
        SELECT min(b.account) AS account FROM balance b WHERE b.scheme = of_scheme AND b.account < account_of(32, 0, 0)
        UNION ALL
        SELECT (SELECT min(b.account) FROM balance b
                 WHERE b.scheme = of_scheme AND b.account > f.account AND b.account < account_of(32, 0, 0))
          FROM found f WHERE f.account IS NOT NULL)
    SELECT f.account FROM found f WHERE f.account IS NOT NULL
    UNION
    SELECT r.account FROM recent_balance r WHERE r.scheme = of_scheme AND r.account < account_of(32, 0, 0)
$$;

-- The fees that closes charged and granted, each with its tax: two supplies in two directions, so that neither is set
-- off against the other. Amounts as the site owes (+) or is owed (-) them. A leg of tax is one that the site pays if it
-- balances the legs before it, its clearing and the fee; else it is the handling fee's.
CREATE INDEX ON entry (scheme, business_date, site) WHERE kind = 20;
CREATE FUNCTION fee_days(of_scheme integer, first date, last date)
    RETURNS TABLE (business_date date, site integer, service_fee bigint, service_tax bigint, handling_fee bigint, handling_tax bigint)
    LANGUAGE sql STABLE ROWS 10000 AS $$
    SELECT e.business_date, e.site, coalesce(-sum(l.amount) FILTER (WHERE l.kind = 9), 0)::bigint,
           coalesce(-sum(l.amount) FILTER (WHERE l.kind = 14 AND NOT l.of_handling), 0)::bigint,
           coalesce(-sum(l.amount) FILTER (WHERE l.kind = 12), 0)::bigint,
           coalesce(-sum(l.amount) FILTER (WHERE l.kind = 14 AND l.of_handling), 0)::bigint
      FROM entry e
     CROSS JOIN LATERAL (
           SELECT (u.account >> 48)::integer AS kind, u.amount,
                  (e.accounts[u.position - 1] >> 48 = 9
                   AND e.amounts[u.position - 2] + e.amounts[u.position - 1] + u.amount = 0
                   OR e.accounts[u.position - 1] >> 48 = 4 AND e.amounts[u.position - 1] + u.amount = 0) IS NOT TRUE AS of_handling
             FROM unnest(e.accounts, e.amounts) WITH ORDINALITY AS u(account, amount, position)) AS l
     WHERE e.scheme = of_scheme AND e.kind = 20 AND e.business_date BETWEEN first AND last
     GROUP BY e.business_date, e.site
$$;
