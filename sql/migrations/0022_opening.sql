-- The opening of a scheme: one event that states cups by place, shipments on the road, the balance at the bank and what participants owe,
-- as of the start of the first business day.
INSERT INTO entry_kind (kind, word) VALUES (15, 'opening');

-- Journals are not the only events of two people any more: openings and their reversals are proposed and decided on likewise.
ALTER TABLE journal_proposal RENAME TO proposed_event;
ALTER TABLE proposed_event RENAME CONSTRAINT journal_proposal_status_check TO proposed_event_status_check;
ALTER TABLE proposed_event ADD COLUMN kind smallint NOT NULL DEFAULT 14 CHECK (kind IN (11, 14, 15));
ALTER TABLE proposed_event ALTER COLUMN kind DROP DEFAULT;
-- The opening of a scheme. At most one waits for a second person.
CREATE UNIQUE INDEX proposed_opening ON proposed_event (scheme) WHERE kind = 15 AND status = 'open';
DROP INDEX journal_proposal_scheme_status_number_idx;
CREATE INDEX proposed_listed ON proposed_event (scheme, (kind = 14), status, number); -- journals, and all others
CREATE INDEX approved_opening ON proposed_event (scheme) WHERE kind = 15 AND status = 'approved';

-- The shipments of an opening. In transfer and entry_reference their numbers stand in place of a dispatch's entry: -1, -2 …
CREATE TABLE shipment (
    scheme   integer NOT NULL,
    number   bigint NOT NULL CHECK (number < 0),
    event_id uuid NOT NULL,   -- as receipts and losses name it; event_id has it as well
    entry    bigint NOT NULL, -- of the opening
    PRIMARY KEY (scheme, number),
    UNIQUE (scheme, event_id)
);
CREATE INDEX ON shipment (scheme, entry);
GRANT SELECT, INSERT ON shipment TO depositd_service;

-- A payout may also be held because it is the first one to its participant after an opening.
ALTER TABLE payment DROP CONSTRAINT payment_held_check;
ALTER TABLE payment ADD CONSTRAINT payment_held_check CHECK (held IN ('variance_limit', 'bank_account_changed', 'first_payout'));

-- Legs as a balance sheet: each money account on its side, the sums of both sides, and what the operator's account is credited with; and
-- each account of cups.
CREATE FUNCTION balance_sheet(of_scheme integer, accounts bigint[], amounts bigint[]) RETURNS json
    LANGUAGE sql STABLE AS $$
    WITH stands AS (
        SELECT l.account, sum(l.amount) AS amount, min(l.position) AS position
          FROM unnest(accounts, amounts) WITH ORDINALITY AS l(account, amount, position)
         GROUP BY l.account),
    money AS (SELECT account, amount, position FROM stands WHERE account_unit(account) = 0)
    SELECT json_build_object(
               'currency', s.currency,
               'operator_account', amount_text(coalesce((SELECT -amount FROM money WHERE account_kind_of(account) = 15), 0)::bigint,
                                               s.decimals),
               'accounts', coalesce((SELECT json_agg(json_strip_nulls(json_build_object(
                                                'account', account_name(account),
                                                'debit', CASE WHEN amount > 0 THEN amount_text(amount::bigint, s.decimals) END,
                                                'credit', CASE WHEN amount < 0 THEN amount_text(-amount::bigint, s.decimals) END))
                                                ORDER BY account_kind_of(account) = 15, amount < 0, position)
                                       FROM money), '[]'),
               'debit', amount_text(coalesce((SELECT sum(amount) FROM money WHERE amount > 0), 0)::bigint, s.decimals),
               'credit', amount_text(coalesce((SELECT -sum(amount) FROM money WHERE amount < 0), 0)::bigint, s.decimals),
               'cups', coalesce((SELECT json_agg(json_build_object('account', account_name(account), 'cups', amount)
                                                 ORDER BY account_kind_of(account), position)
                                   FROM stands WHERE account_unit(account) <> 0), '[]'))
      FROM scheme s WHERE s.id = of_scheme
$$;

-- Deposits that an opening states have a column of their own in what a day did with cups.
ALTER TABLE cup_day ADD COLUMN deposits_opened bigint NOT NULL DEFAULT 0;
ALTER TABLE cup_day ALTER COLUMN deposits_opened DROP DEFAULT;
DROP FUNCTION cup_days(integer, date, date);
DROP FUNCTION cup_day_of(integer, date);
CREATE FUNCTION cup_day_of(of_scheme integer, of_day date)
    RETURNS TABLE (site integer, cup_type integer, issued bigint, returned bigint, supplied bigint, retired bigint,
                   weighed bigint, weighed_g bigint, deposits_issued bigint, deposits_refunded bigint,
                   deposits_forfeited bigint, deposits_reinstated bigint, deposits_remeasured bigint, deposits_reversed bigint,
                   deposits_opened bigint)
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
           coalesce(-sum(amount) FILTER (WHERE is_owed AND is_mirror), 0)::bigint,
           coalesce(-sum(amount) FILTER (WHERE is_owed AND kind = 15 AND NOT is_mirror), 0)::bigint
      FROM (SELECT shared.*, kind IN (1, 2, 3) AS at_counter, account_kind IN (33, 34) AS is_stock, account_kind = 1 AS is_owed,
                   (amount < 0) <> is_mirror AS takes -- what the leg, or the one that it mirrors, took from the account
              FROM shared) AS leg
     GROUP BY site, cup_type
$$;

CREATE FUNCTION cup_days(of_scheme integer, first date, last date)
    RETURNS TABLE (business_date date, site integer, cup_type integer, issued bigint, returned bigint, supplied bigint,
                   retired bigint, weighed bigint, weighed_g bigint, deposits_issued bigint, deposits_refunded bigint,
                   deposits_forfeited bigint, deposits_reinstated bigint, deposits_remeasured bigint, deposits_reversed bigint,
                   deposits_opened bigint)
    LANGUAGE sql STABLE ROWS 10000 AS $$
    SELECT k.business_date, k.site, k.cup_type, k.issued, k.returned, k.supplied, k.retired, k.weighed, k.weighed_g,
           k.deposits_issued, k.deposits_refunded, k.deposits_forfeited, k.deposits_reinstated, k.deposits_remeasured,
           k.deposits_reversed, k.deposits_opened
      FROM cup_day k WHERE k.scheme = of_scheme AND k.business_date BETWEEN first AND last
    UNION ALL
    SELECT d.business_date, c.*
      FROM business_day d CROSS JOIN LATERAL cup_day_of(d.scheme, d.business_date) c
     WHERE d.scheme = of_scheme AND d.business_date BETWEEN first AND last AND d.first_entry IS NOT NULL
       AND NOT EXISTS (SELECT FROM cup_day k WHERE k.scheme = d.scheme AND k.business_date = d.business_date)
$$;
