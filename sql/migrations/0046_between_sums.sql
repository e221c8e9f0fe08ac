-- What two schemes owe each other in the agreed currency, exactly and as sums: a read costs by open days and by
-- payments under way, never by age. And the lines of a host's bank that paid it.

-- An agreed amount in the books of the home or of the host.
CREATE FUNCTION agreed_in_books(of_scheme integer, of_home integer, of_host integer, agreed bigint, is_in_host_currency boolean, at_rate bigint)
    RETURNS bigint LANGUAGE sql STABLE
    RETURN (SELECT CASE WHEN is_in_host_currency = (of_scheme = of_host) THEN agreed
                        ELSE round_half_even(agreed * (at_rate / 1000000000000::numeric)
                                             * power(10::numeric, own.decimals - other.decimals))::bigint END
              FROM scheme own, scheme other
             WHERE own.id = of_scheme AND other.id = of_home + of_host - of_scheme);

-- A payment pays returns. The host has these in its books at the rates of their days.
ALTER TABLE pool_payment
    ADD COLUMN host_booked bigint,             -- the same returns in the host's books, minor units of its currency
    ALTER COLUMN agreed_through DROP NOT NULL; -- only of payments from before there were sums

-- A line of the host's bank that paid what a home owed.
CREATE TABLE between_booked (
    scheme        integer NOT NULL, -- the host
    line          bigint NOT NULL,
    home          integer NOT NULL CHECK (home <> scheme),
    payment_id    text,             -- of the home; null only of lines from before there were sums
    business_date date NOT NULL,    -- to which the entry of the line posted
    agreed        bigint NOT NULL,  -- minor units of the agreed currency; of money that went back below zero
    booked        bigint NOT NULL,  -- by as much it moved between_schemes
    PRIMARY KEY (scheme, line)
);
CREATE INDEX ON between_booked (payment_id);
GRANT SELECT, INSERT ON between_booked TO depositd_service;

-- A line that is the money of another scheme's pool needs nobody: its entry moves between_schemes.
ALTER TABLE bank_line
    DROP CONSTRAINT bank_line_disposition_check,
    ADD CONSTRAINT bank_line_disposition_check CHECK (disposition IN
        ('matched', 'returned', 'unmatched', 'underpaid', 'overpaid', 'repeated', 'ignored', 'between_schemes'));

-- The movements of a day in the ledger of `scheme`, in the agreed currency, and their closing balances once the day
-- is closed.
CREATE TABLE between_day (
    scheme          integer NOT NULL, -- home or host
    home            integer NOT NULL,
    host            integer NOT NULL,
    business_date   date NOT NULL,
    owed            bigint NOT NULL DEFAULT 0, -- by the home to the host: the home has not settled, the host not got it
    due             bigint NOT NULL DEFAULT 0, -- settled, and not paid by its bank: the home's alone
    by_host         bigint NOT NULL DEFAULT 0, -- `owed` of the home as the host has booked it
    owed_closing    bigint,
    due_closing     bigint,
    by_host_closing bigint,
    PRIMARY KEY (scheme, home, host, business_date),
    CHECK (scheme IN (home, host) AND home <> host)
);

-- Payments of which the bank of one side has booked another amount than that of the other side.
CREATE TABLE between_transit (
    home       integer NOT NULL,
    payment_id text NOT NULL,
    host       integer NOT NULL,
    by_home    bigint NOT NULL DEFAULT 0, -- in minor units of the agreed currency; both since they were last alike
    by_host    bigint NOT NULL DEFAULT 0,
    PRIMARY KEY (home, payment_id)
);
CREATE INDEX ON between_transit (home, host);
GRANT SELECT ON between_day, between_transit TO depositd_service;

-- What the confirmation or the failure of a payment moves. A failure after the confirmation mirrors the latter.
CREATE FUNCTION between_change(of_payment pool_payment, change text, OUT owed bigint, OUT due bigint, OUT by_host bigint, OUT by_home_bank bigint)
    LANGUAGE sql STABLE AS $$
    SELECT CASE change WHEN 'fail' THEN of_payment.agreed ELSE 0 END,
           CASE WHEN change = 'fail' AND was.confirmed THEN 0 ELSE -of_payment.agreed END,
           CASE change WHEN 'fail' THEN of_payment.host_booked ELSE 0 END,
           CASE WHEN change = 'confirm' THEN of_payment.agreed WHEN was.confirmed THEN -of_payment.agreed ELSE 0 END
      FROM (SELECT EXISTS (SELECT FROM payment_change c
                            WHERE c.scheme = of_payment.scheme AND c.payment_id = of_payment.payment_id AND c.change = 'confirm') AS confirmed) AS was
$$;

-- The movements anew, from the rows that they are of.
CREATE FUNCTION between_movements(of_scheme integer)
    RETURNS TABLE (home integer, host integer, business_date date, owed bigint, due bigint, by_host bigint)
    LANGUAGE sql STABLE ROWS 1000 AS $$
    SELECT a.home, a.host, e.business_date, a.amount, 0::bigint,
           CASE WHEN a.scheme = a.home THEN agreed_in_books(a.host, a.home, a.host, a.amount, a.in_host_currency, a.rate_e12) ELSE 0 END
      FROM agreed_amount a JOIN entry e ON e.scheme = a.scheme AND e.entry = a.entry
     WHERE a.scheme = of_scheme
    UNION ALL
    SELECT p.scheme, p.host, p.business_date, -p.agreed, p.agreed, -p.host_booked FROM pool_payment p WHERE p.scheme = of_scheme
    UNION ALL
    SELECT p.scheme, p.host, e.business_date, m.owed, m.due, m.by_host
      FROM pool_payment p
      JOIN payment_change c ON c.scheme = p.scheme AND c.payment_id = p.payment_id AND c.change IN ('confirm', 'fail')
      JOIN entry e ON e.scheme = c.scheme AND e.entry = c.entry
     CROSS JOIN LATERAL between_change(p, c.change) AS m
     WHERE p.scheme = of_scheme
    UNION ALL
    SELECT b.home, b.scheme, b.business_date, -b.agreed, 0, 0 FROM between_booked b WHERE b.scheme = of_scheme
$$;

-- The sums of a pair in the ledger of a scheme, through a business day; 'infinity': as they stand.
CREATE FUNCTION between_through(of_scheme integer, of_home integer, of_host integer, through date,
                                OUT owed bigint, OUT due bigint, OUT by_host bigint)
    LANGUAGE sql STABLE AS $$
    WITH closed AS (
        SELECT d.business_date, d.owed_closing, d.due_closing, d.by_host_closing
          FROM between_day d
         WHERE d.scheme = of_scheme AND d.home = of_home AND d.host = of_host AND d.business_date <= through
           AND d.owed_closing IS NOT NULL
         ORDER BY d.business_date DESC LIMIT 1)
    SELECT (coalesce((SELECT owed_closing FROM closed), 0) + coalesce(sum(d.owed), 0))::bigint,
           (coalesce((SELECT due_closing FROM closed), 0) + coalesce(sum(d.due), 0))::bigint,
           (coalesce((SELECT by_host_closing FROM closed), 0) + coalesce(sum(d.by_host), 0))::bigint
      FROM between_day d
     WHERE d.scheme = of_scheme AND d.home = of_home AND d.host = of_host AND d.business_date <= through
       AND d.business_date > coalesce((SELECT business_date FROM closed), '-infinity')
$$;

CREATE FUNCTION between_day_add(of_scheme integer, of_home integer, of_host integer, of_day date, add_owed bigint, add_due bigint, add_by_host bigint)
    RETURNS void LANGUAGE sql AS $$
    INSERT INTO between_day AS d (scheme, home, host, business_date, owed, due, by_host)
    VALUES (of_scheme, of_home, of_host, of_day, add_owed, add_due, add_by_host)
        ON CONFLICT (scheme, home, host, business_date)
        DO UPDATE SET owed = d.owed + excluded.owed, due = d.due + excluded.due, by_host = d.by_host + excluded.by_host
$$;

-- Both banks may tell of a payment at once, under two heads: each adds its own, and no one reads the other's.
CREATE FUNCTION between_transit_add(of_home integer, of_host integer, of_payment text, add_by_home bigint, add_by_host bigint)
    RETURNS void LANGUAGE sql AS $$
    INSERT INTO between_transit AS t (home, payment_id, host, by_home, by_host)
    VALUES (of_home, of_payment, of_host, add_by_home, add_by_host)
        ON CONFLICT (home, payment_id) DO UPDATE SET by_home = t.by_home + excluded.by_home, by_host = t.by_host + excluded.by_host;
    DELETE FROM between_transit t WHERE t.home = of_home AND t.payment_id = of_payment AND t.by_home = t.by_host
$$;

-- The triggers that keep them. All rows of a scheme are written under its head row.
CREATE FUNCTION between_agreed_adds() RETURNS trigger LANGUAGE plpgsql SECURITY DEFINER SET search_path FROM CURRENT AS $$
BEGIN
    PERFORM between_day_add(part.scheme, part.home, part.host, part.business_date, part.owed, 0, part.by_host)
       FROM (SELECT a.scheme, a.home, a.host, e.business_date, sum(a.amount)::bigint AS owed,
                    sum(CASE WHEN a.scheme = a.home
                             THEN agreed_in_books(a.host, a.home, a.host, a.amount, a.in_host_currency, a.rate_e12) ELSE 0 END)::bigint AS by_host
               FROM inserted a JOIN entry e ON e.scheme = a.scheme AND e.entry = a.entry
              GROUP BY 1, 2, 3, 4) AS part;
    RETURN NULL;
END $$;
CREATE TRIGGER between_agreed_adds AFTER INSERT ON agreed_amount
    REFERENCING NEW TABLE AS inserted FOR EACH STATEMENT EXECUTE FUNCTION between_agreed_adds();

CREATE FUNCTION between_payment_adds() RETURNS trigger LANGUAGE plpgsql SECURITY DEFINER SET search_path FROM CURRENT AS $$
BEGIN
    PERFORM between_day_add(NEW.scheme, NEW.scheme, NEW.host, NEW.business_date, -NEW.agreed, NEW.agreed, -NEW.host_booked);
    RETURN NULL;
END $$;
CREATE TRIGGER between_payment_adds AFTER INSERT ON pool_payment FOR EACH ROW EXECUTE FUNCTION between_payment_adds();

-- The office's entries post to the business day that contains the instant.
CREATE FUNCTION between_change_adds() RETURNS trigger LANGUAGE plpgsql SECURITY DEFINER SET search_path FROM CURRENT AS $$
BEGIN
    PERFORM between_day_add(p.scheme, p.scheme, p.host,
                            (SELECT d.business_date FROM business_day d WHERE d.scheme = p.scheme AND d.starts_at <= NEW.changed_at
                              ORDER BY d.business_date DESC LIMIT 1), m.owed, m.due, m.by_host),
            between_transit_add(p.scheme, p.host, p.payment_id, m.by_home_bank, 0)
       FROM pool_payment p CROSS JOIN LATERAL between_change(p, NEW.change) AS m
      WHERE p.scheme = NEW.scheme AND p.payment_id = NEW.payment_id;
    RETURN NULL;
END $$;
CREATE TRIGGER between_change_adds AFTER INSERT ON payment_change FOR EACH ROW
    WHEN (NEW.change IN ('confirm', 'fail')) EXECUTE FUNCTION between_change_adds();

CREATE FUNCTION between_booked_adds() RETURNS trigger LANGUAGE plpgsql SECURITY DEFINER SET search_path FROM CURRENT AS $$
BEGIN
    PERFORM between_day_add(NEW.scheme, NEW.home, NEW.scheme, NEW.business_date, -NEW.agreed, 0, 0);
    PERFORM between_transit_add(NEW.home, NEW.scheme, NEW.payment_id, 0, NEW.agreed) WHERE NEW.payment_id IS NOT NULL;
    RETURN NULL;
END $$;

-- What there is already. Of each payment, what the host booked for the returns that it paid; and of each line that two
-- people have resolved, the part of its payment that no line before it paid.
ALTER TABLE pool_payment DISABLE TRIGGER payment_guard; -- no status changes
DO $$
DECLARE
    p record;
    l record;
    paid record;
BEGIN
    FOR p IN SELECT * FROM pool_payment ORDER BY scheme, host, business_date LOOP
        UPDATE pool_payment o SET host_booked =
               (SELECT coalesce(sum(agreed_in_books(a.host, a.home, a.host, a.amount, a.in_host_currency, a.rate_e12)), 0)
                  FROM agreed_amount a JOIN entry e ON e.scheme = a.scheme AND e.entry = a.entry
                 WHERE a.scheme = p.scheme AND a.home = p.scheme AND a.host = p.host AND e.business_date <= p.business_date)
             - (SELECT coalesce(sum(b.host_booked), 0) FROM pool_payment b
                 WHERE b.scheme = p.scheme AND b.host = p.host AND b.business_date < p.business_date
                   AND NOT EXISTS (SELECT FROM payment_change c JOIN entry e ON e.scheme = c.scheme AND e.entry = c.entry
                                    WHERE c.scheme = b.scheme AND c.payment_id = b.payment_id AND c.change = 'fail'
                                      AND e.business_date <= p.business_date))
         WHERE o.scheme = p.scheme AND o.payment_id = p.payment_id;
    END LOOP;
    FOR l IN SELECT r.scheme, r.line, b.amount, b.end_to_end, e.business_date, account_home(leg.account) AS home, -leg.amount AS booked
               FROM bank_line_resolution r
               JOIN bank_line b ON b.scheme = r.scheme AND b.line = r.line
               JOIN entry e ON e.scheme = r.scheme AND e.entry = ANY (r.entries)
              CROSS JOIN LATERAL unnest(e.accounts, e.amounts) AS leg(account, amount)
              WHERE r.account = 'between_schemes' AND account_kind_of(leg.account) = 18
              ORDER BY r.scheme, r.resolved_at, r.line LOOP
        SELECT o.payment_id, o.agreed, h.currency = k.currency OR o.in_host_currency AS is_own,
               (SELECT coalesce(sum(b.agreed), 0) FROM between_booked b WHERE b.payment_id = o.payment_id)::bigint AS before
          INTO paid
          FROM pool_payment o JOIN scheme h ON h.id = o.scheme JOIN scheme k ON k.id = o.host
         WHERE o.scheme = l.home AND o.host = l.scheme AND o.payment_id = l.end_to_end;
        INSERT INTO between_booked
        VALUES (l.scheme, l.line, l.home, paid.payment_id, l.business_date,
                CASE WHEN coalesce(paid.is_own, true) THEN l.amount ELSE paid.agreed - paid.before END, l.booked);
    END LOOP;
END $$;
ALTER TABLE pool_payment ENABLE TRIGGER payment_guard;
ALTER TABLE pool_payment ALTER COLUMN host_booked SET NOT NULL;

INSERT INTO between_day (scheme, home, host, business_date, owed, due, by_host)
SELECT s.id, m.home, m.host, m.business_date, sum(m.owed), sum(m.due), sum(m.by_host)
  FROM scheme s CROSS JOIN LATERAL between_movements(s.id) AS m
 GROUP BY 1, 2, 3, 4;
UPDATE between_day d SET owed_closing = c.owed, due_closing = c.due, by_host_closing = c.by_host
  FROM (SELECT scheme, home, host, business_date, sum(owed) OVER past AS owed, sum(due) OVER past AS due, sum(by_host) OVER past AS by_host
          FROM between_day WINDOW past AS (PARTITION BY scheme, home, host ORDER BY business_date)) AS c
  JOIN business_day b ON b.scheme = c.scheme AND b.business_date = c.business_date AND b.state = 'closed'
 WHERE (d.scheme, d.home, d.host, d.business_date) = (c.scheme, c.home, c.host, c.business_date);
INSERT INTO between_transit (home, payment_id, host, by_home, by_host)
SELECT p.scheme, p.payment_id, p.host, side.by_home, side.by_host
  FROM pool_payment p
 CROSS JOIN LATERAL (
       SELECT (SELECT coalesce(sum(CASE c.change WHEN 'confirm' THEN p.agreed ELSE -p.agreed END), 0) FROM payment_change c
                WHERE c.scheme = p.scheme AND c.payment_id = p.payment_id
                  AND (c.change = 'confirm'
                       OR c.change = 'fail' AND EXISTS (SELECT FROM payment_change f WHERE f.scheme = p.scheme AND f.payment_id = p.payment_id
                                                                                      AND f.change = 'confirm'))) AS by_home,
              (SELECT coalesce(sum(b.agreed), 0) FROM between_booked b WHERE b.payment_id = p.payment_id) AS by_host) AS side
 WHERE side.by_home <> side.by_host;

CREATE TRIGGER between_booked_adds AFTER INSERT ON between_booked FOR EACH ROW EXECUTE FUNCTION between_booked_adds();

-- The close of a day keeps its closing balances, and nothing is added to it any more.
CREATE FUNCTION between_day_closes() RETURNS trigger LANGUAGE plpgsql SECURITY DEFINER SET search_path FROM CURRENT AS $$
BEGIN
    UPDATE between_day d SET owed_closing = c.owed, due_closing = c.due, by_host_closing = c.by_host
      FROM (SELECT b.home, b.host, t.* FROM between_day b
             CROSS JOIN LATERAL between_through(b.scheme, b.home, b.host, b.business_date) AS t
             WHERE b.scheme = NEW.scheme AND b.business_date = NEW.business_date) AS c
     WHERE d.scheme = NEW.scheme AND d.home = c.home AND d.host = c.host AND d.business_date = NEW.business_date;
    RETURN NULL;
END $$;
CREATE TRIGGER between_day_closes AFTER UPDATE OF state ON business_day FOR EACH ROW
    WHEN (NEW.state = 'closed' AND OLD.state <> 'closed') EXECUTE FUNCTION between_day_closes();
CREATE TRIGGER between_day_is_added AFTER INSERT ON between_day FOR EACH ROW EXECUTE FUNCTION closed_day_guard();
CREATE TRIGGER between_day_changes AFTER UPDATE OF owed, due, by_host ON between_day FOR EACH ROW EXECUTE FUNCTION closed_day_guard();

-- Payments to other pools in the lists of payments.
CREATE INDEX ON pool_payment (scheme, business_date, payment_id COLLATE "C");
CREATE INDEX ON pool_payment (scheme, status, business_date, payment_id COLLATE "C");
CREATE INDEX ON pool_payment (scheme, business_date, payment_id COLLATE "C") WHERE NOT released;
