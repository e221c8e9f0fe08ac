-- What tills say of their days, and what the reports need: figures per cup type that are kept of closed days, movements of accounts by
-- day, and the indexes that let a report read no more than it shows.

-- What a till's own end-of-day report says of a business day by when things happened. A row for each time it was said; the last
-- one counts.
CREATE TABLE day_total (
    scheme        integer NOT NULL,
    site          integer NOT NULL,
    business_date date NOT NULL,
    position      integer NOT NULL, -- 1, 2 …
    stated_at     timestamptz NOT NULL,
    api_key       integer NOT NULL,
    issued        bigint NOT NULL CHECK (issued >= 0), -- cups
    returned      bigint NOT NULL CHECK (returned >= 0),
    collected     bigint NOT NULL CHECK (collected >= 0), -- minor units
    refunded      bigint NOT NULL CHECK (refunded >= 0),
    PRIMARY KEY (scheme, site, business_date, position)
);
GRANT SELECT, INSERT ON day_total TO depositd_service;

-- Entries that a report wants while most are issues and returns; late ones; counts.
CREATE INDEX ON entry (scheme, entry) WHERE kind > 3;
CREATE INDEX ON entry (site, entry) WHERE late;
CREATE INDEX ON entry (site, entry) WHERE kind = 10;
CREATE INDEX ON site_day (site, business_date);
CREATE INDEX ON transfer (scheme, dispatch) WHERE sent <> received + lost;
CREATE INDEX ON payment (scheme, business_date) WHERE status NOT IN ('confirmed', 'failed');
CREATE INDEX ON payment_change (scheme, entry) WHERE change = 'fail';

-- What a business day did with the cups of a type at a site (0: what no site did), and with the deposits that customers have
-- on them. Kept a moment after the close, for then it can't change any more. Cups issued and returned are net of reversals, as in
-- site_day; deposits say apart what reversals took back. Deposits are what is owed: positive.
CREATE TABLE cup_day (
    scheme               integer NOT NULL,
    business_date        date NOT NULL,
    site                 integer NOT NULL,
    cup_type             integer NOT NULL,
    issued               bigint NOT NULL,
    returned             bigint NOT NULL,
    supplied             bigint NOT NULL,
    retired              bigint NOT NULL,
    weighed              bigint NOT NULL, -- of the retired: those whose mass was stated …
    weighed_g            bigint NOT NULL, -- … which is this
    deposits_issued      bigint NOT NULL,
    deposits_refunded    bigint NOT NULL,
    deposits_forfeited   bigint NOT NULL,
    deposits_reinstated  bigint NOT NULL,
    deposits_remeasured  bigint NOT NULL,
    deposits_reversed    bigint NOT NULL,
    PRIMARY KEY (scheme, business_date, site, cup_type)
);
GRANT SELECT, INSERT ON cup_day TO depositd_service;

-- The same from the entries of a day. A reversal's first legs mirror the reversed entry's, the others bring the cups to today's
-- value. A mass stated for several types is shared out by what their cups weigh, to the gram.
CREATE FUNCTION cup_day_of(of_scheme integer, of_day date)
    RETURNS TABLE (site integer, cup_type integer, issued bigint, returned bigint, supplied bigint, retired bigint,
                   weighed bigint, weighed_g bigint, deposits_issued bigint, deposits_refunded bigint,
                   deposits_forfeited bigint, deposits_reinstated bigint, deposits_remeasured bigint, deposits_reversed bigint)
    LANGUAGE sql STABLE ROWS 1000 AS $$
    WITH moved AS (
        SELECT coalesce(e.site, 0) AS site, account_cup_type(l.account) AS cup_type, (l.account >> 48)::integer AS account_kind,
               l.amount, l.position <= coalesce(o.mirrored, 0) AS is_mirror,
               CASE WHEN e.kind <> 11 THEN e.kind WHEN l.position <= o.mirrored THEN o.kind ELSE 22 END AS kind,
               CASE WHEN l.account >> 48 = 37 AND coalesce(o.kind, e.kind) = 9
                    THEN (coalesce(o.event, e.event)::json ->> 'mass_g')::bigint END AS mass_g,
               e.accounts, e.amounts, l.position
          FROM business_day d
          JOIN entry e ON e.scheme = d.scheme AND e.entry BETWEEN d.first_entry AND d.last_entry
                      AND e.business_date = d.business_date
          LEFT JOIN LATERAL (
               SELECT r.kind, r.event, cardinality(r.accounts) AS mirrored
                 FROM entry_reference f JOIN entry r ON r.scheme = f.scheme AND r.entry = f.referred
                WHERE e.kind = 11 AND f.scheme = e.scheme AND f.entry = e.entry) o ON true
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
           coalesce(-sum(amount) FILTER (WHERE is_owed AND is_mirror), 0)::bigint
      FROM (SELECT shared.*, kind IN (1, 2, 3) AS at_counter, account_kind IN (33, 34) AS is_stock, account_kind = 1 AS is_owed,
                   (amount < 0) <> is_mirror AS takes -- what the leg, or the one that it mirrors, took from the account
              FROM shared) AS leg
     GROUP BY site, cup_type
$$;

-- The days from `first` through `last`: as kept, the few others from their entries.
CREATE FUNCTION cup_days(of_scheme integer, first date, last date)
    RETURNS TABLE (business_date date, site integer, cup_type integer, issued bigint, returned bigint, supplied bigint,
                   retired bigint, weighed bigint, weighed_g bigint, deposits_issued bigint, deposits_refunded bigint,
                   deposits_forfeited bigint, deposits_reinstated bigint, deposits_remeasured bigint, deposits_reversed bigint)
    LANGUAGE sql STABLE ROWS 10000 AS $$
    SELECT k.business_date, k.site, k.cup_type, k.issued, k.returned, k.supplied, k.retired, k.weighed, k.weighed_g,
           k.deposits_issued, k.deposits_refunded, k.deposits_forfeited, k.deposits_reinstated, k.deposits_remeasured,
           k.deposits_reversed
      FROM cup_day k WHERE k.scheme = of_scheme AND k.business_date BETWEEN first AND last
    UNION ALL
    SELECT d.business_date, c.*
      FROM business_day d CROSS JOIN LATERAL cup_day_of(d.scheme, d.business_date) c
     WHERE d.scheme = of_scheme AND d.business_date BETWEEN first AND last AND d.first_entry IS NOT NULL
       AND NOT EXISTS (SELECT FROM cup_day k WHERE k.scheme = d.scheme AND k.business_date = d.business_date)
$$;

-- Each account in each business day from `first` through `last`: what it stood at, what it moved by, and stands at.
CREATE FUNCTION account_days(of_scheme integer, wanted bigint[], first date, last date)
    RETURNS TABLE (account bigint, business_date date, opening bigint, movement bigint, closing bigint)
    LANGUAGE sql STABLE ROWS 10000 AS $$
    WITH recent AS MATERIALIZED (
        SELECT r.account, r.business_date, sum(r.movement) AS movement FROM recent_balance r
         WHERE r.scheme = of_scheme AND r.business_date <= last AND r.account = ANY (wanted)
         GROUP BY 1, 2),
    start AS MATERIALIZED (
        SELECT w.account, folded_balance_through(of_scheme, w.account, first - 1)
               + coalesce((SELECT sum(r.movement) FROM recent r WHERE r.account = w.account AND r.business_date < first), 0) AS amount
          FROM unnest(wanted) AS w(account)),
    moved AS (
        SELECT part.account, part.business_date, sum(part.movement) AS movement
          FROM (SELECT b.account, b.business_date, b.movement
                  FROM unnest(wanted) AS w(account)
                  JOIN balance b ON b.scheme = of_scheme AND b.account = w.account AND b.business_date BETWEEN first AND last
                UNION ALL
                SELECT r.account, r.business_date, r.movement FROM recent r WHERE r.business_date >= first) AS part
         GROUP BY 1, 2),
    running AS (
        SELECT s.account, d.business_date, coalesce(m.movement, 0) AS movement,
               s.amount + sum(coalesce(m.movement, 0)) OVER (PARTITION BY s.account ORDER BY d.business_date) AS closing
          FROM start s
         CROSS JOIN (SELECT b.business_date FROM business_day b
                      WHERE b.scheme = of_scheme AND b.business_date BETWEEN first AND last) AS d
          LEFT JOIN moved m ON m.account = s.account AND m.business_date = d.business_date)
    SELECT r.account, r.business_date, (r.closing - r.movement)::bigint, r.movement::bigint, r.closing::bigint FROM running r
$$;

-- What sites (null: all of the scheme) did in each day that they were open in or in which their clearing was not zero:
-- opening + collected - refunded + fees + tax + stock + other + settled = closing.
CREATE FUNCTION site_statement(of_scheme integer, of_sites integer[], first date, last date)
    RETURNS TABLE (business_date date, site integer, opening bigint, collected bigint, refunded bigint, fees bigint, tax bigint,
                   stock bigint, other bigint, settled bigint, closing bigint, issued bigint, returned bigint)
    LANGUAGE sql STABLE ROWS 10000 AS $$
    WITH shown AS MATERIALIZED (
        SELECT s.id, s.opened_on, s.closed_on FROM site s
         WHERE s.scheme = of_scheme AND (of_sites IS NULL OR s.id = ANY (of_sites))),
    done AS (
        SELECT part.site, part.business_date, sum(part.issued) AS issued, sum(part.returned) AS returned,
               sum(part.collected) AS collected, sum(part.refunded) AS refunded, sum(part.stock) AS stock,
               sum(part.other) AS other, sum(part.fees) AS fees, sum(part.tax) AS tax
          FROM (SELECT d.site, d.business_date, d.issued, d.returned, d.collected, d.refunded, d.stock, d.other, d.fees, d.tax
                  FROM shown JOIN site_day d ON d.site = shown.id AND d.scheme = of_scheme AND d.business_date BETWEEN first AND last
                UNION ALL
                SELECT r.site, r.business_date, r.issued, r.returned, r.collected, r.refunded, r.stock, r.other, 0, 0
                  FROM recent_site_day r WHERE r.scheme = of_scheme AND r.business_date BETWEEN first AND last) AS part
         GROUP BY 1, 2)
    SELECT a.business_date, shown.id, a.opening, coalesce(d.collected, 0)::bigint, coalesce(d.refunded, 0)::bigint,
           coalesce(d.fees, 0)::bigint, coalesce(d.tax, 0)::bigint, coalesce(d.stock, 0)::bigint, coalesce(d.other, 0)::bigint,
           (a.movement - coalesce(d.collected - d.refunded + d.fees + d.tax + d.stock + d.other, 0))::bigint, a.closing,
           coalesce(d.issued, 0)::bigint, coalesce(d.returned, 0)::bigint
      FROM account_days(of_scheme, (SELECT array_agg(account_of(4, id, 0)) FROM shown), first, last) AS a
      JOIN shown ON shown.id = account_owner(a.account)
      LEFT JOIN done d ON d.site = shown.id AND d.business_date = a.business_date
     WHERE a.opening <> 0 OR a.movement <> 0 OR d.site IS NOT NULL
        OR a.business_date BETWEEN shown.opened_on AND coalesce(shown.closed_on, 'infinity')
$$;
