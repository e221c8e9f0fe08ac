-- What a close fixed: the settlement and its seal, the positions, the payments.

CREATE TABLE settlement (
    scheme        integer NOT NULL REFERENCES scheme,
    business_date date NOT NULL,
    closed_at     timestamptz NOT NULL,
    closed_by     integer,         -- a key; null: the service, by the clock
    entries       bigint NOT NULL, -- leaves of the day's tree
    root          bytea NOT NULL,
    previous      bytea NOT NULL,  -- seal of the day before; 32 zero bytes for the first
    seal          bytea NOT NULL,
    PRIMARY KEY (scheme, business_date)
);

-- What a participant owed the pool (+) or was owed (-). carried_since: the first day since which its position has been
-- carried forward; null when it was settled.
CREATE TABLE position (
    scheme        integer NOT NULL,
    business_date date NOT NULL,
    participant   integer NOT NULL,
    amount        bigint NOT NULL,
    arrears       bigint NOT NULL,
    carried_since date,
    PRIMARY KEY (scheme, business_date, participant)
);

-- Payer and payee are participants; null is the pool. The id is drawn from scheme, day and parties, and is the
-- end-to-end reference of the payment (at most 35 characters).
CREATE TABLE payment (
    scheme        integer NOT NULL,
    payment_id    text NOT NULL CHECK (length(payment_id) <= 35),
    business_date date NOT NULL,
    payer         integer,
    payee         integer CHECK (payee IS DISTINCT FROM payer),
    amount        bigint NOT NULL CHECK (amount > 0),
    due_on        date NOT NULL,
    status        text NOT NULL CHECK (status IN ('computed')),
    held          text CHECK (held IN ('variance_limit', 'bank_account_changed')), -- why; null: not held
    bank_account  jsonb, -- the payee's, at the close
    PRIMARY KEY (scheme, payment_id)
);
CREATE INDEX ON payment (scheme, business_date);
CREATE INDEX ON payment (scheme, payee, business_date) WHERE payee IS NOT NULL;

GRANT SELECT, INSERT ON settlement, position, payment TO depositd_service;
