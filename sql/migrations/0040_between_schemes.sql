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

-- What the home owes the host for the cups of an entry, in the agreed currency; of a reversal below zero. Both ledgers have it
-- for their own entry. The rate converts it into the books of the scheme with the other currency.
CREATE TABLE agreed_amount (
    scheme           integer NOT NULL, -- whose entry it is: home or host
    entry            bigint NOT NULL,
    home             integer NOT NULL,
    host             integer NOT NULL,
    amount           bigint NOT NULL,  -- minor units
    in_host_currency boolean NOT NULL, -- else in the home's
    rate_e12         bigint NOT NULL,  -- units of the other currency for one of this, times 10^12
    PRIMARY KEY (scheme, entry, home, host),
    CHECK (scheme IN (home, host) AND home <> host)
);
CREATE INDEX ON agreed_amount (scheme, home, host, entry);

-- The host's entry that an entry of its home follows: each is followed once.
CREATE TABLE followed_entry (
    scheme     integer NOT NULL, -- the home
    entry      bigint NOT NULL,
    host       integer NOT NULL,
    host_entry bigint NOT NULL,
    event_id   uuid NOT NULL,  -- of the host's event
    hash       bytea NOT NULL, -- of the leaf of the host's entry
    PRIMARY KEY (scheme, entry),
    UNIQUE (scheme, host, host_entry)
);

-- How far the home has followed the host's entries. Rows come with the first return at a host.
CREATE TABLE following_place (
    home  integer NOT NULL,
    host  integer NOT NULL,
    entry bigint NOT NULL DEFAULT 0, -- of the host: the last one that was followed
    PRIMARY KEY (home, host)
);
GRANT SELECT, INSERT ON agreed_amount, followed_entry, following_place TO depositd_service;
GRANT UPDATE (entry) ON following_place TO depositd_service;

-- Both as the leaf of the entry has them (src/app/posting/canonical.h). Null: it has none.
CREATE FUNCTION agreed_text(of_scheme integer, of_entry bigint) RETURNS text
    LANGUAGE sql STABLE
    RETURN (SELECT '[' || string_agg(format('{"amount":"%s","currency":"%s","currency_of":"%s","home":"%s","host":"%s","rate":"%s"}',
                                            amount_text(a.amount, c.decimals), c.currency,
                                            CASE WHEN a.in_host_currency THEN 'host' ELSE 'home' END, h.code, k.code,
                                            exchange_rate_text(a.rate_e12)), ',' ORDER BY a.home, a.host) || ']'
              FROM agreed_amount a
              JOIN scheme h ON h.id = a.home
              JOIN scheme k ON k.id = a.host
              JOIN scheme c ON c.id = CASE WHEN a.in_host_currency THEN a.host ELSE a.home END
             WHERE a.scheme = of_scheme AND a.entry = of_entry);
CREATE FUNCTION followed_text(of_scheme integer, of_entry bigint) RETURNS text
    LANGUAGE sql STABLE
    RETURN (SELECT format('{"entry":%s,"event_id":"%s","hash":"%s","scheme":"%s"}', f.host_entry, f.event_id,
                          encode(f.hash, 'hex'), k.code)
              FROM followed_entry f JOIN scheme k ON k.id = f.host
             WHERE f.scheme = of_scheme AND f.entry = of_entry);

-- A reversal abroad refers to the entry that it mirrors, as any reversal does: entry_reference, of kind 28.

-- Cups that came back abroad: the deposits on them have ended here, and they are among the cups that came back.
ALTER TABLE cup_day ADD COLUMN deposits_abroad bigint NOT NULL DEFAULT 0;
ALTER TABLE cup_day ALTER COLUMN deposits_abroad DROP DEFAULT;
DROP FUNCTION cup_days(integer, date, date);
DROP FUNCTION cup_day_of(integer, date);
CREATE FUNCTION cup_day_of(of_scheme integer, of_day date)
    RETURNS TABLE (site integer, cup_type integer, issued bigint, returned bigint, supplied bigint, retired bigint,
                   weighed bigint, weighed_g bigint, deposits_issued bigint, deposits_refunded bigint,
                   deposits_forfeited bigint, deposits_reinstated bigint, deposits_remeasured bigint, deposits_reversed bigint,
                   deposits_opened bigint, deposits_abroad bigint)
    LANGUAGE sql STABLE ROWS 1000 AS $$
    WITH moved AS (
        SELECT coalesce(e.site, 0) AS site, account_cup_type(l.account) AS cup_type, (l.account >> 48)::integer AS account_kind,
               l.amount, l.position <= coalesce(o.mirrored, 0) AS is_mirror,
               CASE WHEN e.kind <> 11 AND e.kind <> 28 THEN e.kind WHEN l.position <= o.mirrored THEN o.kind ELSE 22 END AS kind,
               CASE WHEN l.account >> 48 = 37 AND coalesce(o.kind, e.kind) = 9
                    THEN (coalesce(o.event, e.event)::json ->> 'mass_g')::bigint END AS mass_g,
               e.accounts, e.amounts, l.position
          FROM business_day d
          JOIN entry e ON e.scheme = d.scheme AND e.entry BETWEEN d.first_entry AND d.last_entry
                      AND e.business_date = d.business_date
          LEFT JOIN LATERAL (
               SELECT r.kind, r.event, cardinality(r.accounts) AS mirrored
                 FROM entry_reference f JOIN entry r ON r.scheme = f.scheme AND r.entry = f.referred
                WHERE (e.kind = 11 OR e.kind = 28) AND f.scheme = e.scheme AND f.entry = e.entry) o ON true
         CROSS JOIN LATERAL unnest(e.accounts, e.amounts) WITH ORDINALITY AS l(account, amount, position)
         WHERE d.scheme = of_scheme AND d.business_date = of_day AND l.account >> 48 IN (1, 32, 33, 34, 37)),
    shared AS (
        SELECT m.*, round(mass_g * upto / whole) - round(mass_g * before / whole) AS share_g
          FROM moved m
          LEFT JOIN LATERAL (
               SELECT sum(abs(w.amount) * t.mass_g) FILTER (WHERE w.position <= m.position) AS upto,
                      coalesce(sum(abs(w.amount) * t.mass_g) FILTER (WHERE w.position < m.position), 0) AS before,
                      nullif(sum(abs(w.amount) * t.mass_g), 0) AS whole
                 FROM unnest(m.accounts, m.amounts) WITH ORDINALITY AS w(account, amount, position)
                 JOIN cup_type t ON t.id = account_cup_type(w.account)
                WHERE m.mass_g IS NOT NULL AND w.account >> 48 = 37) weight ON true)
    SELECT site, cup_type,
           coalesce(-sum(amount) FILTER (WHERE at_counter AND is_stock AND takes), 0)::bigint,
           coalesce(sum(amount) FILTER (WHERE at_counter AND is_stock AND NOT takes), 0)::bigint,
           coalesce(-sum(amount) FILTER (WHERE account_kind = 32), 0)::bigint,
           coalesce(sum(amount) FILTER (WHERE account_kind = 37), 0)::bigint,
           coalesce(sum(amount) FILTER (WHERE mass_g IS NOT NULL), 0)::bigint,
           coalesce(sum(sign(amount::numeric) * share_g), 0)::bigint,
           coalesce(-sum(amount) FILTER (WHERE is_owed AND at_counter AND NOT is_mirror AND takes), 0)::bigint,
           coalesce(sum(amount) FILTER (WHERE is_owed AND at_counter AND NOT is_mirror AND NOT takes), 0)::bigint,
           coalesce(sum(amount) FILTER (WHERE is_owed AND kind = 12 AND NOT is_mirror), 0)::bigint,
           coalesce(-sum(amount) FILTER (WHERE is_owed AND kind = 13 AND NOT is_mirror), 0)::bigint,
           coalesce(-sum(amount) FILTER (WHERE is_owed AND kind = 22), 0)::bigint,
           coalesce(-sum(amount) FILTER (WHERE is_owed AND is_mirror), 0)::bigint,
           coalesce(-sum(amount) FILTER (WHERE is_owed AND kind = 15 AND NOT is_mirror), 0)::bigint,
           coalesce(sum(amount) FILTER (WHERE is_owed AND kind = 27 AND NOT is_mirror), 0)::bigint
      FROM (SELECT shared.*, kind IN (1, 2, 3) AS at_counter, account_kind IN (33, 34) AS is_stock, account_kind = 1 AS is_owed,
                   (amount < 0) <> is_mirror AS takes -- what the leg, or the one that it mirrors, took from the account
              FROM shared) AS leg
     GROUP BY site, cup_type
$$;

CREATE FUNCTION cup_days(of_scheme integer, first date, last date)
    RETURNS TABLE (business_date date, site integer, cup_type integer, issued bigint, returned bigint, supplied bigint,
                   retired bigint, weighed bigint, weighed_g bigint, deposits_issued bigint, deposits_refunded bigint,
                   deposits_forfeited bigint, deposits_reinstated bigint, deposits_remeasured bigint, deposits_reversed bigint,
                   deposits_opened bigint, deposits_abroad bigint)
    LANGUAGE sql STABLE ROWS 10000 AS $$
    SELECT k.business_date, k.site, k.cup_type, k.issued, k.returned, k.supplied, k.retired, k.weighed, k.weighed_g,
           k.deposits_issued, k.deposits_refunded, k.deposits_forfeited, k.deposits_reinstated, k.deposits_remeasured,
           k.deposits_reversed, k.deposits_opened, k.deposits_abroad
      FROM cup_day k WHERE k.scheme = of_scheme AND k.business_date BETWEEN first AND last
    UNION ALL
    SELECT d.business_date, c.*
      FROM business_day d CROSS JOIN LATERAL cup_day_of(d.scheme, d.business_date) c
     WHERE d.scheme = of_scheme AND d.business_date BETWEEN first AND last AND d.first_entry IS NOT NULL
       AND NOT EXISTS (SELECT FROM cup_day k WHERE k.scheme = d.scheme AND k.business_date = d.business_date)
$$;

CREATE OR REPLACE FUNCTION cup_flow_of(of_scheme integer, of_day date)
    RETURNS TABLE (cup_type integer, opened bigint, opened_forfeited bigint, issued bigint, returned bigint, forfeited bigint,
                   reinstated bigint)
    LANGUAGE sql STABLE ROWS 10 AS $$
    WITH moved AS (
        SELECT account_cup_type(l.account) AS cup_type, coalesce(o.kind, e.kind) AS kind, l.amount,
               (l.amount > 0) <> (e.kind = 11 OR e.kind = 28) AS hands_out, l.account >> 48 = 38 AS is_unaccounted
          FROM business_day d
          JOIN entry e ON e.scheme = d.scheme AND e.entry BETWEEN d.first_entry AND d.last_entry
                      AND e.business_date = d.business_date
          LEFT JOIN LATERAL (
               SELECT r.kind FROM entry_reference f JOIN entry r ON r.scheme = f.scheme AND r.entry = f.referred
                WHERE (e.kind = 11 OR e.kind = 28) AND f.scheme = e.scheme AND f.entry = e.entry) o ON true
         CROSS JOIN LATERAL unnest(e.accounts, e.amounts) AS l(account, amount)
         WHERE d.scheme = of_scheme AND d.business_date = of_day AND (e.kind <= 15 OR e.kind = 27 OR e.kind = 28)
           AND (l.account >> 48 = 36 OR l.account >> 48 = 38 AND coalesce(o.kind, e.kind) = 15))
    SELECT m.cup_type,
           coalesce(sum(m.amount) FILTER (WHERE m.kind = 15), 0)::bigint,
           coalesce(sum(m.amount) FILTER (WHERE m.kind = 15 AND m.is_unaccounted), 0)::bigint,
           coalesce(sum(m.amount) FILTER (WHERE m.kind IN (1, 2, 3) AND m.hands_out), 0)::bigint,
           coalesce(-sum(m.amount) FILTER (WHERE (m.kind IN (1, 2, 3) OR m.kind = 27) AND NOT m.hands_out), 0)::bigint,
           coalesce(-sum(m.amount) FILTER (WHERE m.kind = 12), 0)::bigint,
           coalesce(sum(m.amount) FILTER (WHERE m.kind = 13), 0)::bigint
      FROM moved m
     GROUP BY m.cup_type
$$;

-- Money of other schemes belongs to them, as the participants' does: due_to_schemes is owed, and due_from_schemes does not count
-- until it is paid. `participant` is then the owner of the account.
CREATE OR REPLACE FUNCTION withdrawable_steps(of_scheme integer, today date)
    RETURNS TABLE (step text, kind integer, participant integer, cup_type integer, balance bigint, counted bigint)
    LANGUAGE sql STABLE ROWS 100 AS $$
    WITH value AS (
        SELECT v.cup_type, v.effective_date, v.amount,
               lag(v.amount) OVER (PARTITION BY v.cup_type ORDER BY v.effective_date) AS before
          FROM refund_value v WHERE v.scheme = of_scheme AND v.effective_date <= today),
    change AS ( -- across a boundary that is not closed: its remeasurement is still to come
        SELECT v.cup_type, v.effective_date, v.amount - v.before AS amount FROM value v
         WHERE v.amount <> v.before
           AND v.effective_date - 1 > coalesce((SELECT max(d.business_date) FROM business_day d
                                                 WHERE d.scheme = of_scheme AND d.state = 'closed'), '-infinity')),
    boundary AS (SELECT DISTINCT effective_date FROM change),
    place (kind, counts) AS ( -- accounts of deposits, and of the cups that they are for
        SELECT p.kind, p.counts
          FROM scheme s, (VALUES (1, 36, false), (2, 33, true), (2, 34, true), (3, 35, true)) AS p(kind, counts, on_deposit)
         WHERE s.id = of_scheme AND (NOT p.on_deposit OR s.stock_terms = 'on_deposit')),
    stands AS (SELECT k.kind, k.cup_type, k.amount FROM kinds_through(of_scheme, 'infinity') AS k),
    deposit AS (
        SELECT part.kind, part.cup_type, sum(part.amount)::bigint AS amount
          FROM (SELECT k.kind, k.cup_type, k.amount FROM stands k WHERE k.kind <= 3
                UNION ALL
                SELECT place.kind, c.cup_type, -c.amount * k.amount
                  FROM boundary
                 CROSS JOIN LATERAL kinds_through(of_scheme, boundary.effective_date - 1) AS k
                  JOIN place ON place.counts = k.kind
                  JOIN change c ON c.effective_date = boundary.effective_date AND c.cup_type = k.cup_type) AS part
         GROUP BY part.kind, part.cup_type),
    dealing AS (
        SELECT part.kind, part.participant, sum(part.amount)::bigint AS amount
          FROM (SELECT 4 AS kind, s.participant, b.amount
                  FROM balances_between(of_scheme, account_of(4, 0, 0), account_of(5, 0, 0) - 1, 'infinity') AS b
                  JOIN site s ON s.id = account_owner(b.account)
                UNION ALL -- on deposit a site places more for its cups, or gets it back
                SELECT 4, s.participant, c.amount * b.amount
                  FROM boundary
                 CROSS JOIN LATERAL balances_between(of_scheme, account_of(33, 0, 0), account_of(35, 0, 0) - 1,
                                                     boundary.effective_date - 1) AS b
                  JOIN place ON place.counts = account_kind_of(b.account)
                  JOIN change c ON c.effective_date = boundary.effective_date AND c.cup_type = account_cup_type(b.account)
                  JOIN site s ON s.id = account_owner(b.account)
                UNION ALL
                SELECT account_kind_of(b.account), account_owner(b.account), b.amount
                  FROM balances_between(of_scheme, account_of(5, 0, 0), account_of(7, 0, 0) - 1, 'infinity') AS b) AS part
         GROUP BY part.kind, part.participant),
    gone AS (
        SELECT -coalesce(sum(l.amount), 0)::bigint AS amount
          FROM bank_line_open o JOIN bank_line l ON l.scheme = o.scheme AND l.line = o.line
         WHERE o.scheme = of_scheme AND l.amount < 0),
    other AS (
        SELECT o.kind, coalesce(s.amount, 0) AS amount FROM (VALUES (7), (8), (14)) AS o(kind) LEFT JOIN stands s ON s.kind = o.kind)
    SELECT 'bank', o.kind, NULL::integer, NULL::integer, o.amount, o.amount FROM other o WHERE o.kind = 7
    UNION ALL
    SELECT 'deposits', d.kind, NULL, d.cup_type, d.amount, least(d.amount, 0) FROM deposit d WHERE d.amount <> 0
    UNION ALL
    SELECT CASE WHEN d.amount < 0 THEN 'due_to_participants' ELSE 'due_from_participants' END, d.kind, d.participant, NULL, d.amount,
           least(d.amount, 0)
      FROM dealing d WHERE d.amount <> 0
    UNION ALL
    SELECT CASE WHEN b.amount < 0 THEN 'due_to_schemes' ELSE 'due_from_schemes' END, account_kind_of(b.account), account_owner(b.account),
           NULL, b.amount, least(b.amount, 0)
      FROM balances_between(of_scheme, account_of(18, 0, 0), account_of(20, 0, 0) - 1, 'infinity') AS b WHERE b.amount <> 0
    UNION ALL
    SELECT 'tax', o.kind, NULL, NULL, o.amount, least(o.amount, 0) FROM other o WHERE o.kind = 14
    UNION ALL
    SELECT 'not_identified', o.kind, NULL, NULL, o.amount - gone.amount, least(o.amount - gone.amount, 0) FROM other o, gone WHERE o.kind = 8
    UNION ALL
    SELECT 'left_unidentified', 8, NULL, NULL, gone.amount, 0 FROM gone WHERE gone.amount <> 0
$$;
