-- The ledger. Every key begins with the scheme, the natural shard; entry's also holds the business date, so
-- that it can be partitioned by month without a change of keys.

-- Rows that mirror the C tables, for reports and for people; a test compares them.
CREATE TABLE account_kind (
    kind  integer PRIMARY KEY,
    word  text NOT NULL UNIQUE,
    scope text NOT NULL CHECK (scope IN ('scheme', 'cup_type', 'site', 'site_cup_type', 'participant')),
    class text NOT NULL
);
INSERT INTO account_kind (kind, word, scope, class) VALUES
    (1, 'customer_deposits', 'cup_type', 'liability'),
    (2, 'stock_deposits', 'site_cup_type', 'liability'),
    (3, 'transit_deposits', 'cup_type', 'liability'),
    (4, 'site_clearing', 'site', 'asset'),
    (5, 'settlement_due', 'participant', 'asset'),
    (6, 'arrears', 'participant', 'asset'),
    (7, 'bank', 'scheme', 'asset'),
    (8, 'bank_suspense', 'scheme', 'asset'),
    (9, 'service_fees', 'scheme', 'income'),
    (10, 'forfeits', 'scheme', 'income'),
    (11, 'loss_charges', 'scheme', 'income'),
    (12, 'handling_fees', 'scheme', 'expense'),
    (13, 'refund_variance', 'scheme', 'variance'),
    (14, 'tax', 'scheme', 'liability'),
    (32, 'supply', 'cup_type', 'source'),
    (33, 'site_stock', 'site_cup_type', 'cups'),
    (34, 'damaged', 'site_cup_type', 'cups'),
    (35, 'in_transit', 'cup_type', 'cups'),
    (36, 'with_customers', 'cup_type', 'cups'),
    (37, 'retired', 'cup_type', 'cups'),
    (38, 'unaccounted', 'cup_type', 'cups');

CREATE TABLE entry_kind (
    kind integer PRIMARY KEY,
    word text NOT NULL UNIQUE
);
INSERT INTO entry_kind (kind, word) VALUES
    (1, 'issue'), (2, 'return'), (3, 'exchange'), (4, 'supply'), (5, 'dispatch'), (6, 'receipt'),
    (7, 'transit_loss'), (8, 'damage'), (9, 'retire'), (10, 'count'), (11, 'reversal'), (12, 'forfeit'),
    (13, 'reinstate'), (20, 'fees'), (21, 'settle'), (22, 'remeasurement');

-- The parts of an account number: kind << 48 | owner << 16 | cup type.
CREATE FUNCTION account_of(kind integer, owner integer, cup_type integer) RETURNS bigint
    LANGUAGE sql IMMUTABLE PARALLEL SAFE
    RETURN (kind::bigint << 48) | (owner::bigint << 16) | cup_type;
CREATE FUNCTION account_kind_of(account bigint) RETURNS integer
    LANGUAGE sql IMMUTABLE PARALLEL SAFE RETURN (account >> 48)::integer;
CREATE FUNCTION account_owner(account bigint) RETURNS integer
    LANGUAGE sql IMMUTABLE PARALLEL SAFE RETURN ((account >> 16) & 4294967295)::integer;
CREATE FUNCTION account_cup_type(account bigint) RETURNS integer
    LANGUAGE sql IMMUTABLE PARALLEL SAFE RETURN (account & 65535)::integer;
-- 0 for money, else the cup type whose cups it counts.
CREATE FUNCTION account_unit(account bigint) RETURNS integer
    LANGUAGE sql IMMUTABLE PARALLEL SAFE
    RETURN CASE WHEN account >> 48 >= 32 THEN (account & 65535)::integer ELSE 0 END;

-- site_stock(anchor,cup-300)
CREATE FUNCTION account_name(account bigint) RETURNS text
    LANGUAGE sql STABLE PARALLEL SAFE
    RETURN (SELECT k.word || CASE k.scope
                WHEN 'scheme' THEN ''
                ELSE '(' || concat_ws(',',
                    CASE WHEN k.scope IN ('site', 'site_cup_type')
                         THEN (SELECT s.code FROM site s WHERE s.id = account_owner(account)) END,
                    CASE WHEN k.scope = 'participant'
                         THEN (SELECT p.code FROM participant p WHERE p.id = account_owner(account)) END,
                    CASE WHEN k.scope IN ('cup_type', 'site_cup_type')
                         THEN (SELECT c.code FROM cup_type c WHERE c.id = account_cup_type(account)) END) || ')'
                END
            FROM account_kind k WHERE k.kind = account_kind_of(account));

-- One row per scheme: whoever appends locks it, and holds it to the commit. It numbers the entries, in the
-- order in which they become visible, and says which copies of reference data and calendar are current.
CREATE TABLE scheme_head (
    scheme            integer PRIMARY KEY REFERENCES scheme,
    reference_version bigint NOT NULL,
    calendar_version  bigint NOT NULL DEFAULT 1,
    last_entry        bigint NOT NULL DEFAULT 0,
    gross             bigint NOT NULL DEFAULT 0, -- the absolute amounts of all legs, money and cups, in one sum: bounds every balance
    unfolded          integer NOT NULL DEFAULT 0, -- movements in recent_movement that balances do not have yet …
    folded_through    bigint NOT NULL DEFAULT 0   -- … those of the batches after this entry
) WITH (fillfactor = 10);

-- Takes heads, in order, as the caller expects them to be. The second look is a statement of its own: it sees what was committed
-- while the first waited.
CREATE FUNCTION take_heads(schemes integer[], last_entries bigint[], calendar_versions bigint[], version bigint) RETURNS void
    LANGUAGE plpgsql AS $$
BEGIN
    PERFORM FROM scheme_head WHERE scheme = ANY (schemes) ORDER BY scheme FOR UPDATE;
    IF (SELECT reference_version FROM network_head) <> version
       OR (SELECT count(*) FROM unnest(schemes, last_entries, calendar_versions) AS e(scheme, last_entry, calendar_version)
             JOIN scheme_head USING (scheme, last_entry, calendar_version)) <> cardinality(schemes) THEN
        RAISE EXCEPTION 'a head has moved' USING ERRCODE = 'serialization_failure';
    END IF;
END $$;

-- A day's bounds are stored when it is created and never computed again. The frontier is that of the Merkle
-- tree over its entries (32 bytes a node), so that a close hashes nothing again.
CREATE TABLE business_day (
    scheme        integer NOT NULL REFERENCES scheme,
    business_date date NOT NULL,
    starts_at     timestamptz NOT NULL,
    ends_at       timestamptz NOT NULL CHECK (ends_at >= starts_at),
    state         text NOT NULL DEFAULT 'open' CHECK (state IN ('open', 'closing', 'closed')),
    entries       bigint NOT NULL DEFAULT 0,
    events        bigint NOT NULL DEFAULT 0,
    late_events   bigint NOT NULL DEFAULT 0,
    first_entry   bigint,
    last_entry    bigint,
    frontier      bytea NOT NULL DEFAULT '',
    PRIMARY KEY (scheme, business_date)
) WITH (fillfactor = 50);
CREATE INDEX ON business_day (scheme, business_date) WHERE state <> 'closed'; -- what the clock looks at

-- An entry with its legs: accounts[i] moves by amounts[i], minor units or cups, debits positive. One row, so that
-- an entry can't be half there, and so that writing it costs one row.
CREATE TABLE entry (
    scheme        integer NOT NULL,
    entry         bigint NOT NULL,
    business_date date NOT NULL,
    kind          smallint NOT NULL,
    late          boolean NOT NULL,
    site          integer,             -- of events that name one, and of the close's entries for one
    api_key       integer,             -- who posted it; null: the service itself
    occurred_at   timestamptz NOT NULL,
    recorded_at   timestamptz NOT NULL,
    hash          bytea NOT NULL,      -- of its leaf in the day's tree
    event         text,                -- as recorded, canonical JSON; null for what the close posts
    accounts      bigint[] NOT NULL,
    amounts       bigint[] NOT NULL,
    PRIMARY KEY (scheme, entry, business_date)
);

-- A site's events, and the book of a count. A site is of one scheme; without it in front, nobody plans to look for an entry here.
CREATE INDEX ON entry (site, entry);

CREATE VIEW leg AS
    SELECT e.scheme, e.entry, e.business_date, l.position, l.account, l.amount
      FROM entry e, unnest(e.accounts, e.amounts) WITH ORDINALITY AS l(account, amount, position);

-- Decides replays, for ever: it outlives the entries' partitions. The digest is the first half of a SHA-256.
CREATE TABLE event_id (
    scheme   integer NOT NULL,
    event_id uuid NOT NULL,
    digest   bytea NOT NULL,
    entry    bigint NOT NULL,
    PRIMARY KEY (scheme, event_id)
);

-- What moved on an account in a business day. The close adds the balance through that day, so that a balance
-- as of any day is the last closing one and the open days' movements: it costs by accounts, never by age.
CREATE TABLE balance (
    scheme        integer NOT NULL,
    account       bigint NOT NULL,
    business_date date NOT NULL,
    movement      bigint NOT NULL,
    closing       bigint,
    PRIMARY KEY (scheme, account, business_date)
) WITH (fillfactor = 70);

-- What a site did in a business day, for its fees and its settlement lines. Money is minor units; stock and
-- other are debits of its clearing, from cups on deposit and from anything else; fees and tax come at the close.
CREATE TABLE site_day (
    scheme        integer NOT NULL,
    business_date date NOT NULL,
    site          integer NOT NULL,
    issued        bigint NOT NULL DEFAULT 0,
    returned      bigint NOT NULL DEFAULT 0,
    collected     bigint NOT NULL DEFAULT 0,
    refunded      bigint NOT NULL DEFAULT 0,
    stock         bigint NOT NULL DEFAULT 0,
    other         bigint NOT NULL DEFAULT 0,
    fees          bigint NOT NULL DEFAULT 0,
    tax           bigint NOT NULL DEFAULT 0,
    PRIMARY KEY (scheme, business_date, site)
) WITH (fillfactor = 70);

-- What the latest batches moved, a row each: a batch touches many balances, and the next batch mostly the same ones, so they
-- are added to balance and site_day for many batches at once, in the transaction of one of them, or of a close. They are kept
-- until the fold after that: another instance's writer, which knows the ledger up to an entry, catches up by them.
-- amounts[i] moved on accounts[i] in days[i]; sites[i] did the other figures in site_days[i].
CREATE TABLE recent_movement (
    scheme      integer NOT NULL,
    after_entry bigint NOT NULL, -- the last one before the batch
    last_entry  bigint NOT NULL, -- the last one of the batch
    accounts    bigint[] NOT NULL,
    days        date[] NOT NULL,
    amounts     bigint[] NOT NULL,
    sites       integer[] NOT NULL,
    site_days   date[] NOT NULL,
    issued      bigint[] NOT NULL,
    returned    bigint[] NOT NULL,
    collected   bigint[] NOT NULL,
    refunded    bigint[] NOT NULL,
    stock       bigint[] NOT NULL,
    other       bigint[] NOT NULL,
    PRIMARY KEY (scheme, last_entry)
) WITH (toast_tuple_target = 8160); -- short-lived rows: not worth compressing

-- What is not folded yet, a row for each movement. Never more than a few thousand.
CREATE VIEW recent_balance AS
    SELECT r.scheme, m.account, m.business_date, m.movement
      FROM scheme_head h JOIN recent_movement r ON r.scheme = h.scheme AND r.last_entry > h.folded_through,
           unnest(r.accounts, r.days, r.amounts) AS m(account, business_date, movement);
CREATE VIEW recent_site_day AS
    SELECT r.scheme, m.*
      FROM scheme_head h JOIN recent_movement r ON r.scheme = h.scheme AND r.last_entry > h.folded_through,
           unnest(r.sites, r.site_days, r.issued, r.returned, r.collected, r.refunded, r.stock, r.other)
           AS m(site, business_date, issued, returned, collected, refunded, stock, other);

-- Which entry refers to which: receipts and losses to their dispatch, reversals to what they reverse.
CREATE TABLE entry_reference (
    scheme   integer NOT NULL,
    referred bigint NOT NULL,
    entry    bigint NOT NULL,
    kind     smallint NOT NULL,
    PRIMARY KEY (scheme, entry)
);
CREATE INDEX ON entry_reference (scheme, referred);

-- What a dispatch sent, and what has become of it.
CREATE TABLE transfer (
    scheme        integer NOT NULL,
    dispatch      bigint NOT NULL, -- its entry
    cup_type      integer NOT NULL,
    damaged       boolean NOT NULL,
    business_date date NOT NULL,   -- its posting day
    sender        integer NOT NULL,
    receiver      integer NOT NULL,
    sent          bigint NOT NULL,
    received      bigint NOT NULL DEFAULT 0,
    lost          bigint NOT NULL DEFAULT 0,
    PRIMARY KEY (scheme, dispatch, cup_type, damaged)
);

-- Cups forfeited and not reinstated: the most that can be reinstated.
CREATE TABLE forfeited (
    scheme   integer NOT NULL,
    cup_type integer NOT NULL,
    cups     bigint NOT NULL,
    PRIMARY KEY (scheme, cup_type)
);

-- Facts that a person should look at, and that somebody did. An exception is named by entry and position.
CREATE TABLE exception (
    scheme        integer NOT NULL,
    entry         bigint NOT NULL,
    position      smallint NOT NULL,
    business_date date NOT NULL,
    kind          text NOT NULL,
    site          integer,
    cup_type      integer,
    quantity      bigint,
    amount        bigint,
    PRIMARY KEY (scheme, entry, position)
);
CREATE TABLE exception_resolution (
    scheme      integer NOT NULL,
    entry       bigint NOT NULL,
    position    smallint NOT NULL,
    resolved_at timestamptz NOT NULL,
    resolved_by integer,          -- a key
    by_entry    bigint,           -- or the entry that made it good
    note        text NOT NULL,
    PRIMARY KEY (scheme, entry, position)
);

-- What the service promises, the database holds it to: legs pair up and sum to zero in each unit, numbers
-- follow the head, and a day that is closing takes only what its close posts, a closed one nothing.
CREATE FUNCTION entry_guard() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF EXISTS (SELECT FROM inserted WHERE cardinality(accounts) <> cardinality(amounts))
       OR EXISTS (SELECT FROM inserted i, unnest(i.accounts, i.amounts) AS l(account, amount)
                   GROUP BY i.scheme, i.entry, account_unit(l.account) HAVING sum(l.amount) <> 0) THEN
        RAISE EXCEPTION 'an entry does not balance' USING ERRCODE = 'integrity_constraint_violation';
    END IF;
    IF EXISTS (SELECT FROM (SELECT scheme, min(entry) AS first, max(entry) AS last, count(*) AS entries
                              FROM inserted GROUP BY scheme) i
                 LEFT JOIN scheme_head h USING (scheme)
                WHERE h.last_entry IS NULL OR i.first <> h.last_entry + 1 OR i.last <> h.last_entry + i.entries) THEN
        RAISE EXCEPTION 'entries are not numbered on from the head' USING ERRCODE = 'integrity_constraint_violation';
    END IF;
    IF EXISTS (SELECT FROM (SELECT DISTINCT scheme, business_date, kind IN (20, 21) AS by_close FROM inserted) i
                 LEFT JOIN business_day d USING (scheme, business_date)
                WHERE d.state IS NULL OR d.state <> CASE WHEN i.by_close THEN 'closing' ELSE 'open' END) THEN
        RAISE EXCEPTION 'an entry is for a day that does not take it' USING ERRCODE = 'integrity_constraint_violation';
    END IF;
    RETURN NULL;
END $$;
CREATE TRIGGER entry_guard AFTER INSERT ON entry
    REFERENCING NEW TABLE AS inserted FOR EACH STATEMENT EXECUTE FUNCTION entry_guard();

-- A day only goes from open to closing to closed, and keeps its bounds.
CREATE FUNCTION business_day_guard() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF TG_OP = 'DELETE' AND (OLD.entries > 0 OR OLD.state <> 'open')
       OR TG_OP = 'UPDATE' AND (OLD.state = 'closed'
           OR (OLD.starts_at, OLD.ends_at) <> (NEW.starts_at, NEW.ends_at)
           OR (OLD.state, NEW.state) NOT IN (('open', 'open'), ('open', 'closing'), ('closing', 'closing'), ('closing', 'closed'))) THEN
        RAISE EXCEPTION 'a business day can''t change like that' USING ERRCODE = 'integrity_constraint_violation';
    END IF;
    RETURN CASE TG_OP WHEN 'DELETE' THEN OLD ELSE NEW END;
END $$;
CREATE TRIGGER business_day_guard BEFORE UPDATE OR DELETE ON business_day
    FOR EACH ROW EXECUTE FUNCTION business_day_guard();

-- Every account that the scheme ever touched, found by skipping through the key rather than by reading all days. folded_… look
-- at balance alone: for a close, which has folded the recent movements before.
CREATE FUNCTION folded_accounts_of(of_scheme integer) RETURNS SETOF bigint
    LANGUAGE sql STABLE ROWS 10000 AS $$
    WITH RECURSIVE found AS (
        SELECT min(account) AS account FROM balance WHERE scheme = of_scheme
        UNION ALL
        SELECT (SELECT min(b.account) FROM balance b WHERE b.scheme = of_scheme AND b.account > f.account)
          FROM found f WHERE f.account IS NOT NULL)
    SELECT account FROM found WHERE account IS NOT NULL
$$;
CREATE FUNCTION accounts_of(of_scheme integer) RETURNS SETOF bigint
    LANGUAGE sql STABLE ROWS 10000 AS $$
    SELECT folded_accounts_of(of_scheme) UNION SELECT account FROM recent_balance WHERE scheme = of_scheme
$$;

-- One account's balance through a business day.
CREATE FUNCTION folded_balance_through(of_scheme integer, of_account bigint, through date) RETURNS bigint
    LANGUAGE sql STABLE AS $$
    WITH closed AS (
        SELECT business_date, closing FROM balance
         WHERE scheme = of_scheme AND account = of_account AND business_date <= through AND closing IS NOT NULL
         ORDER BY business_date DESC LIMIT 1)
    SELECT (coalesce((SELECT closing FROM closed), 0)
          + coalesce((SELECT sum(movement) FROM balance
                       WHERE scheme = of_scheme AND account = of_account AND business_date <= through
                         AND business_date > coalesce((SELECT business_date FROM closed), '-infinity')), 0))::bigint
$$;

CREATE FUNCTION balance_through(of_scheme integer, of_account bigint, through date) RETURNS bigint
    LANGUAGE sql STABLE AS $$
    SELECT (folded_balance_through(of_scheme, of_account, through)
          + coalesce((SELECT sum(movement) FROM recent_balance
                       WHERE scheme = of_scheme AND account = of_account AND business_date <= through), 0))::bigint
$$;

-- All accounts' balances through a business day; 'infinity': as they stand.
CREATE FUNCTION folded_balances_through(of_scheme integer, through date)
    RETURNS TABLE (account bigint, amount bigint)
    LANGUAGE sql STABLE ROWS 10000 AS $$
    SELECT a, folded_balance_through(of_scheme, a, through) FROM folded_accounts_of(of_scheme) AS a
$$;
CREATE FUNCTION balances_through(of_scheme integer, through date)
    RETURNS TABLE (account bigint, amount bigint)
    LANGUAGE sql STABLE ROWS 10000 AS $$
    SELECT part.account, sum(part.amount)::bigint
      FROM (SELECT * FROM folded_balances_through(of_scheme, through)
            UNION ALL
            SELECT account, CASE WHEN business_date <= through THEN movement ELSE 0 END FROM recent_balance
             WHERE scheme = of_scheme) AS part(account, amount)
     GROUP BY part.account
$$;

GRANT SELECT ON account_kind, entry_kind, leg, recent_balance, recent_site_day TO depositd_service;
GRANT SELECT, INSERT, DELETE ON recent_movement TO depositd_service;
GRANT SELECT, INSERT, UPDATE ON scheme_head, balance, site_day, transfer, forfeited TO depositd_service;
GRANT SELECT, INSERT, UPDATE, DELETE ON business_day TO depositd_service;
-- Append-only: neither update nor delete nor truncate.
GRANT SELECT, INSERT ON entry, event_id, entry_reference, exception, exception_resolution TO depositd_service;
