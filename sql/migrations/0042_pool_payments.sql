-- Payments from the pool of a scheme to the pool of a host that took its cups back: beside the netting, and not
-- counted in it.

-- An account of a pair has 16 bits for each scheme.
ALTER TABLE agreement ADD CHECK (home < 32768 AND host < 32768);

CREATE TABLE pool_payment (
    scheme           integer NOT NULL, -- the home, which pays
    payment_id       text NOT NULL CHECK (length(payment_id) <= 35),
    business_date    date NOT NULL,
    host             integer NOT NULL CHECK (host <> scheme),
    amount           bigint NOT NULL CHECK (amount > 0), -- the whole balance in the books of the scheme, minor units
    agreed           bigint NOT NULL CHECK (agreed > 0), -- as it is instructed, in minor units of the agreed currency
    in_host_currency boolean NOT NULL,
    agreed_through   bigint NOT NULL, -- all that was ever agreed for cups of the pair, in entries through that day
    due_on           date NOT NULL,
    status           text NOT NULL CHECK (status IN ('computed', 'approved', 'instructed', 'confirmed', 'failed')),
    released         boolean NOT NULL DEFAULT false, -- held until who signed the agreement for the scheme lets it go
    PRIMARY KEY (scheme, payment_id),
    UNIQUE (scheme, host, business_date)
);
CREATE INDEX ON pool_payment (payment_id);
CREATE INDEX ON pool_payment (scheme, business_date);
CREATE TRIGGER payment_guard BEFORE UPDATE ON pool_payment FOR EACH ROW EXECUTE FUNCTION payment_guard();

-- What was done to them stands among the changes of payments. A payment in another currency than the books is
-- confirmed with the amount that the bank booked.
ALTER TABLE payment_change ADD COLUMN booked bigint CHECK (booked > 0);

CREATE FUNCTION pool_payment_is_added() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF NEW.status <> 'computed' OR NEW.released
       OR (SELECT d.state FROM business_day d WHERE (d.scheme, d.business_date) = (NEW.scheme, NEW.business_date)) IS DISTINCT FROM 'closing' THEN
        RAISE EXCEPTION 'the close of the day makes its payments' USING ERRCODE = 'integrity_constraint_violation';
    END IF;
    RETURN NULL;
END $$;
CREATE TRIGGER pool_payment_is_added AFTER INSERT ON pool_payment FOR EACH ROW EXECUTE FUNCTION pool_payment_is_added();

GRANT SELECT, INSERT ON pool_payment TO depositd_service;
GRANT UPDATE (status, released) ON pool_payment TO depositd_service;

-- A line of the host's bank may be what the home owed: two people say so.
DO $$
DECLARE
    known text := (SELECT pg_get_expr(conbin, conrelid) FROM pg_constraint
                    WHERE conrelid = 'bank_line_resolution'::regclass AND conname = 'bank_line_resolution_account_check');
BEGIN
    ALTER TABLE bank_line_resolution DROP CONSTRAINT bank_line_resolution_account_check;
    EXECUTE format('ALTER TABLE bank_line_resolution ADD CONSTRAINT bank_line_resolution_account_check
                    CHECK (%s OR account = ''between_schemes'')', known);
END $$;

-- They move `bank` as well.
CREATE OR REPLACE VIEW bank_side AS
    SELECT p.scheme, p.payment_id, 'change' AS side, CASE c.change WHEN 'confirm' THEN 1 ELSE -1 END AS moved, c.entry,
           NULL::bigint AS statement
      FROM payment_change c
      JOIN (SELECT scheme, payment_id FROM payment WHERE payer IS NULL OR payee IS NULL
            UNION ALL SELECT scheme, payment_id FROM pool_payment) AS p USING (scheme, payment_id)
     WHERE (c.change = 'confirm'
            OR c.change = 'fail' AND EXISTS (SELECT FROM payment_change f
                                              WHERE (f.scheme, f.payment_id, f.change) = (c.scheme, c.payment_id, 'confirm')))
    UNION ALL
    SELECT l.scheme, l.payment_id, 'line', CASE l.disposition WHEN 'matched' THEN -1 ELSE 1 END, NULL, l.statement
      FROM bank_line l WHERE l.disposition IN ('matched', 'returned') AND l.payment_id IS NOT NULL
    UNION ALL
    SELECT r.scheme, r.payment_id, 'finding', CASE WHEN r.came_back THEN 1 ELSE -1 END, r.entries[1], NULL
      FROM bank_line_resolution r WHERE r.payment_id IS NOT NULL;
CREATE OR REPLACE VIEW bank_effect AS -- how a payment of the pool moves its account
    SELECT p.scheme, p.payment_id, CASE WHEN p.payee IS NULL THEN p.amount ELSE -p.amount END AS effect
      FROM payment p WHERE p.payer IS NULL OR p.payee IS NULL
    UNION ALL
    SELECT p.scheme, p.payment_id, -coalesce((SELECT c.booked FROM payment_change c
                                               WHERE (c.scheme, c.payment_id) = (p.scheme, p.payment_id) AND c.change = 'confirm'), p.amount)
      FROM pool_payment p;
