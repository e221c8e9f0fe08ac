-- What lets a read cost as much as it shows: indexes in the order of each list, sums that the start page shows, and lists of what is
-- open. The sums and lists are kept by triggers, which run as the owner: the service can't write them in any other way.

-- Lists are in the order of codes and ids as bytes, whatever the database's own collation is.
CREATE INDEX ON scheme (code COLLATE "C");
CREATE INDEX ON participant (code COLLATE "C");
CREATE INDEX ON site (code COLLATE "C");
CREATE INDEX ON site (participant);
CREATE INDEX ON api_key (name COLLATE "C", id);
CREATE INDEX ON journal_proposal (scheme, status, number);
DROP INDEX journal_proposal_scheme_number_idx;

CREATE INDEX payment_listed ON payment (scheme, business_date, payment_id COLLATE "C");
CREATE INDEX payment_by_status ON payment (scheme, status, business_date, payment_id COLLATE "C");
CREATE INDEX payment_by_payer ON payment (scheme, payer, business_date, payment_id COLLATE "C") WHERE payer IS NOT NULL;
CREATE INDEX payment_by_payee ON payment (scheme, payee, business_date, payment_id COLLATE "C") WHERE payee IS NOT NULL;
CREATE INDEX payment_held ON payment (scheme, business_date, payment_id COLLATE "C") WHERE held IS NOT NULL AND NOT released;
DROP INDEX payment_scheme_business_date_idx, payment_scheme_payee_business_date_idx;

-- The balances of all accounts of a kind, and of a cup type where the kind has them, in one sum: as they stand in balance, and what
-- moved them in each day.
CREATE TABLE kind_balance (
    scheme   integer NOT NULL,
    kind     integer NOT NULL,
    cup_type integer NOT NULL, -- 0: none
    amount   bigint NOT NULL,
    PRIMARY KEY (scheme, kind, cup_type)
) WITH (fillfactor = 50);
CREATE TABLE kind_movement (
    scheme        integer NOT NULL,
    business_date date NOT NULL,
    kind          integer NOT NULL,
    cup_type      integer NOT NULL,
    movement      bigint NOT NULL,
    PRIMARY KEY (scheme, business_date, kind, cup_type)
) WITH (fillfactor = 70);

CREATE FUNCTION balance_kinds() RETURNS trigger LANGUAGE plpgsql SECURITY DEFINER SET search_path FROM CURRENT AS $$
DECLARE
    moved kind_movement[];
BEGIN
    IF TG_OP = 'INSERT' THEN
        SELECT array_agg(ROW(m.*)::kind_movement) INTO moved
          FROM (SELECT scheme, business_date, account_kind_of(account), account_cup_type(account), sum(movement)::bigint
                  FROM after_it GROUP BY 1, 2, 3, 4 HAVING sum(movement) <> 0) AS m;
    ELSE
        SELECT array_agg(ROW(m.*)::kind_movement) INTO moved
          FROM (SELECT scheme, business_date, account_kind_of(account), account_cup_type(account), sum(movement)::bigint
                  FROM (SELECT scheme, business_date, account, movement FROM after_it
                        UNION ALL
                        SELECT scheme, business_date, account, -movement FROM before_it) AS part
                 GROUP BY 1, 2, 3, 4 HAVING sum(movement) <> 0) AS m;
    END IF;
    IF moved IS NULL THEN
        RETURN NULL;
    END IF;
    INSERT INTO kind_movement AS k SELECT * FROM unnest(moved)
        ON CONFLICT (scheme, business_date, kind, cup_type) DO UPDATE SET movement = k.movement + excluded.movement;
    INSERT INTO kind_balance AS k
    SELECT scheme, kind, cup_type, sum(movement)::bigint FROM unnest(moved) GROUP BY 1, 2, 3
        ON CONFLICT (scheme, kind, cup_type) DO UPDATE SET amount = k.amount + excluded.amount;
    RETURN NULL;
END $$;
CREATE TRIGGER balance_kinds_inserted AFTER INSERT ON balance
    REFERENCING NEW TABLE AS after_it FOR EACH STATEMENT EXECUTE FUNCTION balance_kinds();
CREATE TRIGGER balance_kinds_updated AFTER UPDATE ON balance
    REFERENCING OLD TABLE AS before_it NEW TABLE AS after_it FOR EACH STATEMENT EXECUTE FUNCTION balance_kinds();

INSERT INTO kind_movement
SELECT scheme, business_date, account_kind_of(account), account_cup_type(account), sum(movement)
  FROM balance GROUP BY 1, 2, 3, 4 HAVING sum(movement) <> 0;
INSERT INTO kind_balance SELECT scheme, kind, cup_type, sum(movement) FROM kind_movement GROUP BY 1, 2, 3;

-- Exceptions that nobody has resolved.
CREATE TABLE exception_open (
    scheme   integer NOT NULL,
    entry    bigint NOT NULL,
    position smallint NOT NULL,
    PRIMARY KEY (scheme, entry, position)
);
CREATE FUNCTION exception_opens() RETURNS trigger LANGUAGE plpgsql SECURITY DEFINER SET search_path FROM CURRENT AS $$
BEGIN
    INSERT INTO exception_open
    SELECT scheme, entry, position FROM inserted x
     WHERE NOT EXISTS (SELECT FROM exception_resolution z
                        WHERE z.scheme = x.scheme AND z.entry = x.entry AND z.position = x.position)
        ON CONFLICT DO NOTHING;
    RETURN NULL;
END $$;
CREATE TRIGGER exception_opens AFTER INSERT ON exception
    REFERENCING NEW TABLE AS inserted FOR EACH STATEMENT EXECUTE FUNCTION exception_opens();
CREATE FUNCTION exception_closes() RETURNS trigger LANGUAGE plpgsql SECURITY DEFINER SET search_path FROM CURRENT AS $$
BEGIN
    DELETE FROM exception_open o USING inserted z
     WHERE o.scheme = z.scheme AND o.entry = z.entry AND o.position = z.position;
    RETURN NULL;
END $$;
CREATE TRIGGER exception_closes AFTER INSERT ON exception_resolution
    REFERENCING NEW TABLE AS inserted FOR EACH STATEMENT EXECUTE FUNCTION exception_closes();
INSERT INTO exception_open
SELECT scheme, entry, position FROM exception x
 WHERE NOT EXISTS (SELECT FROM exception_resolution z
                    WHERE z.scheme = x.scheme AND z.entry = x.entry AND z.position = x.position);

-- Lines of the bank's that somebody should look at.
CREATE TABLE bank_line_open (
    scheme    integer NOT NULL,
    line      bigint NOT NULL,
    statement bigint NOT NULL,
    PRIMARY KEY (scheme, line)
);
CREATE INDEX ON bank_line_open (scheme, statement);
CREATE FUNCTION bank_line_opens() RETURNS trigger LANGUAGE plpgsql SECURITY DEFINER SET search_path FROM CURRENT AS $$
BEGIN
    INSERT INTO bank_line_open
    SELECT scheme, line, statement FROM inserted l
     WHERE disposition IN ('unmatched', 'underpaid', 'overpaid')
       AND NOT EXISTS (SELECT FROM bank_line_resolution r WHERE r.scheme = l.scheme AND r.line = l.line)
        ON CONFLICT DO NOTHING;
    RETURN NULL;
END $$;
CREATE TRIGGER bank_line_opens AFTER INSERT ON bank_line
    REFERENCING NEW TABLE AS inserted FOR EACH STATEMENT EXECUTE FUNCTION bank_line_opens();
CREATE FUNCTION bank_line_closes() RETURNS trigger LANGUAGE plpgsql SECURITY DEFINER SET search_path FROM CURRENT AS $$
BEGIN
    DELETE FROM bank_line_open o USING inserted r WHERE o.scheme = r.scheme AND o.line = r.line;
    RETURN NULL;
END $$;
CREATE TRIGGER bank_line_closes AFTER INSERT ON bank_line_resolution
    REFERENCING NEW TABLE AS inserted FOR EACH STATEMENT EXECUTE FUNCTION bank_line_closes();
INSERT INTO bank_line_open
SELECT scheme, line, statement FROM bank_line l
 WHERE disposition IN ('unmatched', 'underpaid', 'overpaid')
   AND NOT EXISTS (SELECT FROM bank_line_resolution r WHERE r.scheme = l.scheme AND r.line = l.line);
DROP INDEX bank_line_scheme_line_idx; -- these lines, resolved or not

-- How many payments a close made, and what they come to: all of them (participant 0), and those that a participant pays or is paid.
CREATE TABLE payment_day (
    scheme        integer NOT NULL,
    business_date date NOT NULL,
    participant   integer NOT NULL,
    payments      bigint NOT NULL,
    paid          bigint NOT NULL,
    PRIMARY KEY (scheme, business_date, participant)
);
CREATE VIEW payment_side AS -- each payment once for all of them, and once for each of its participants
    SELECT p.scheme, p.business_date, side.participant, p.amount
      FROM payment p CROSS JOIN LATERAL (VALUES (0), (p.payer), (p.payee)) AS side(participant)
     WHERE side.participant IS NOT NULL;
CREATE FUNCTION payment_days() RETURNS trigger LANGUAGE plpgsql SECURITY DEFINER SET search_path FROM CURRENT AS $$
BEGIN
    INSERT INTO payment_day AS d
    SELECT p.scheme, p.business_date, side.participant, count(*), sum(p.amount)
      FROM inserted p CROSS JOIN LATERAL (VALUES (0), (p.payer), (p.payee)) AS side(participant)
     WHERE side.participant IS NOT NULL
     GROUP BY 1, 2, 3
        ON CONFLICT (scheme, business_date, participant)
        DO UPDATE SET payments = d.payments + excluded.payments, paid = d.paid + excluded.paid;
    RETURN NULL;
END $$;
CREATE TRIGGER payment_days AFTER INSERT ON payment
    REFERENCING NEW TABLE AS inserted FOR EACH STATEMENT EXECUTE FUNCTION payment_days();
INSERT INTO payment_day
SELECT scheme, business_date, participant, count(*), sum(amount) FROM payment_side GROUP BY 1, 2, 3;

GRANT SELECT ON kind_balance, kind_movement, exception_open, bank_line_open, payment_day, payment_side TO depositd_service;

-- The balances through a business day of the accounts from `low` through `high` that the scheme ever touched. The accounts are
-- found by skipping through the key; each then costs a probe for its last closing balance and one for the days since.
CREATE FUNCTION balances_between(of_scheme integer, low bigint, high bigint, through date)
    RETURNS TABLE (account bigint, amount bigint)
    LANGUAGE sql STABLE ROWS 1000 AS $$
    WITH RECURSIVE found AS (
        SELECT min(b.account) AS account FROM balance b WHERE b.scheme = of_scheme AND b.account BETWEEN low AND high
        UNION ALL
        SELECT (SELECT min(b.account) FROM balance b WHERE b.scheme = of_scheme AND b.account > f.account AND b.account <= high)
          FROM found f WHERE f.account IS NOT NULL)
    SELECT part.account, sum(part.amount)::bigint
      FROM (SELECT f.account, coalesce(closed.closing, 0) + coalesce(since.movement, 0) AS amount
              FROM found f
              LEFT JOIN LATERAL (
                   SELECT b.business_date, b.closing FROM balance b
                    WHERE b.scheme = of_scheme AND b.account = f.account AND b.business_date <= through AND b.closing IS NOT NULL
                    ORDER BY b.business_date DESC LIMIT 1) closed ON true
              LEFT JOIN LATERAL (
                   SELECT sum(b.movement) AS movement FROM balance b
                    WHERE b.scheme = of_scheme AND b.account = f.account AND b.business_date <= through
                      AND b.business_date > coalesce(closed.business_date, '-infinity')) since ON true
             WHERE f.account IS NOT NULL
            UNION ALL
            SELECT r.account, CASE WHEN r.business_date <= through THEN r.movement ELSE 0 END FROM recent_balance r
             WHERE r.scheme = of_scheme AND r.account BETWEEN low AND high) AS part
     GROUP BY part.account
$$;
CREATE OR REPLACE FUNCTION balances_through(of_scheme integer, through date)
    RETURNS TABLE (account bigint, amount bigint)
    LANGUAGE sql STABLE ROWS 10000 AS $$
    SELECT * FROM balances_between(of_scheme, -9223372036854775808, 9223372036854775807, through)
$$;

-- The sums by kind and cup type through a business day. What moved since is taken off again: few days, of a recent one.
CREATE FUNCTION kinds_through(of_scheme integer, through date)
    RETURNS TABLE (kind integer, cup_type integer, amount bigint)
    LANGUAGE sql STABLE ROWS 50 AS $$
    SELECT part.kind, part.cup_type, sum(part.amount)::bigint
      FROM (SELECT b.kind, b.cup_type, b.amount FROM kind_balance b WHERE b.scheme = of_scheme
            UNION ALL
            SELECT m.kind, m.cup_type, -m.movement FROM kind_movement m WHERE m.scheme = of_scheme AND m.business_date > through
            UNION ALL
            SELECT account_kind_of(r.account), account_cup_type(r.account), r.movement FROM recent_balance r
             WHERE r.scheme = of_scheme AND r.business_date <= through) AS part(kind, cup_type, amount)
     GROUP BY part.kind, part.cup_type
$$;

-- The deposit cover of a scheme through a business day in three figures: the sums of the report's lines but the funding's.
CREATE FUNCTION cover_through(of_scheme integer, through date) RETURNS TABLE (required numeric, held numeric)
    LANGUAGE sql STABLE ROWS 1 AS $$
    WITH value AS (
        SELECT v.cup_type, v.effective_date, v.amount,
               lag(v.amount) OVER (PARTITION BY v.cup_type ORDER BY v.effective_date) AS before
          FROM refund_value v WHERE v.scheme = of_scheme AND v.effective_date <= through),
    in_force AS (SELECT DISTINCT ON (v.cup_type) v.cup_type, v.amount FROM value v ORDER BY v.cup_type, v.effective_date DESC),
    change AS ( -- across a boundary that is not closed: its remeasurement is still to come
        SELECT v.cup_type, v.effective_date, v.amount - v.before AS amount FROM value v
         WHERE v.amount <> v.before
           AND v.effective_date - 1 > coalesce((SELECT max(d.business_date) FROM business_day d
                                                 WHERE d.scheme = of_scheme AND d.state = 'closed'), '-infinity')),
    -- Deposits are owed for cups with customers; on deposit also for those at sites and on the road.
    place (kind, counts) AS (
        SELECT p.kind, p.counts
          FROM scheme s, (VALUES (1, false, false), (36, true, false), (2, false, true), (3, false, true), (33, true, true),
                                 (34, true, true), (35, true, true)) AS p(kind, counts, on_deposit)
         WHERE s.id = of_scheme AND (NOT p.on_deposit OR s.stock_terms = 'on_deposit')),
    to_come AS (
        SELECT sum(c.amount * k.amount) AS amount
          FROM (SELECT DISTINCT effective_date FROM change) AS boundary
         CROSS JOIN LATERAL kinds_through(of_scheme, boundary.effective_date - 1) AS k
          JOIN change c ON c.effective_date = boundary.effective_date AND c.cup_type = k.cup_type
          JOIN place ON place.kind = k.kind AND place.counts)
    SELECT coalesce(sum(k.amount::numeric * f.amount) FILTER (WHERE place.counts), 0),
           coalesce(-sum(k.amount) FILTER (WHERE NOT place.counts), 0) + coalesce((SELECT t.amount FROM to_come t), 0)
      FROM kinds_through(of_scheme, through) AS k JOIN place USING (kind) LEFT JOIN in_force f USING (cup_type)
$$;
