-- What goes to the bank and what comes from it: payment files, statements, and what became of each of their lines. All of it is
-- append-only; what a person does about a line is a row beside it.

CREATE TABLE payment_file (
    scheme        integer NOT NULL REFERENCES scheme,
    file_id       uuid NOT NULL,
    number        bigint GENERATED ALWAYS AS IDENTITY, -- the order in which they are listed
    business_date date NOT NULL,
    type          text NOT NULL CHECK (type IN ('payouts', 'collections')),
    message_id    text NOT NULL UNIQUE CHECK (length(message_id) <= 35),
    created_at    timestamptz NOT NULL,
    api_key       integer NOT NULL,
    payments      integer NOT NULL CHECK (payments > 0),
    total         bigint NOT NULL,
    content       bytea NOT NULL, -- as it was made: never written anew
    sha256        bytea NOT NULL CHECK (length(sha256) = 32),
    PRIMARY KEY (scheme, file_id)
);
CREATE INDEX ON payment_file (file_id); -- clients name a file by its id alone
CREATE INDEX ON payment_file (scheme, business_date, number);

-- A payment is in one file at most: what the bank is told twice it may pay twice.
CREATE TABLE payment_in_file (
    scheme     integer NOT NULL,
    payment_id text NOT NULL,
    file_id    uuid NOT NULL,
    mandate    text, -- of a collection: the reference under which it is collected
    PRIMARY KEY (scheme, payment_id)
);

-- A message of the bank's, as it came.
CREATE TABLE bank_document (
    scheme      integer NOT NULL REFERENCES scheme,
    document    bigint GENERATED ALWAYS AS IDENTITY,
    received_at timestamptz NOT NULL,
    api_key     integer NOT NULL,
    message_id  text,
    content     bytea NOT NULL,
    sha256      bytea NOT NULL CHECK (length(sha256) = 32),
    PRIMARY KEY (scheme, document)
);

-- A statement of it. The same statement may come again, in another message: the digest is over what it says.
CREATE TABLE bank_statement (
    scheme       integer NOT NULL,
    statement    bigint NOT NULL, -- 1, 2 … of the scheme
    document     bigint NOT NULL,
    account      text NOT NULL,
    statement_id text NOT NULL,   -- the bank's
    digest       bytea NOT NULL CHECK (length(digest) = 32),
    balances     jsonb NOT NULL,
    PRIMARY KEY (scheme, statement),
    UNIQUE (scheme, account, statement_id)
);

CREATE TABLE bank_line (
    scheme        integer NOT NULL,
    line          bigint NOT NULL, -- 1, 2 … of the scheme
    statement     bigint NOT NULL,
    booked_on     date,
    amount        bigint NOT NULL, -- positive: the account grew
    end_to_end    text,
    reference     text,            -- the bank's own, or else the entry's within the statement
    returned      boolean NOT NULL,
    return_reason text,
    identity      bytea CHECK (length(identity) = 32), -- of lines with a reference of the bank's: told again, it is the same line
    disposition   text NOT NULL CHECK (disposition IN
        ('matched', 'returned', 'unmatched', 'underpaid', 'overpaid', 'repeated', 'ignored')),
    payment_id    text,            -- the payment that it names, where there is one
    entry         bigint,          -- what it posted: in bank_suspense, or the payment's confirmation or failure
    PRIMARY KEY (scheme, line)
);
CREATE INDEX ON bank_line (scheme, statement);
CREATE UNIQUE INDEX ON bank_line (scheme, identity) WHERE identity IS NOT NULL;
CREATE INDEX ON bank_line (scheme, payment_id) WHERE payment_id IS NOT NULL;
CREATE INDEX ON bank_line (scheme, line) WHERE disposition IN ('unmatched', 'underpaid', 'overpaid');

-- What a person found out about a line that stood in bank_suspense, and the entries that took it from there.
CREATE TABLE bank_line_resolution (
    scheme      integer NOT NULL,
    line        bigint NOT NULL,
    resolved_at timestamptz NOT NULL,
    api_key     integer NOT NULL,
    note        text NOT NULL,
    payment_id  text,             -- it was this payment, …
    came_back   boolean NOT NULL, -- … or its return
    participant integer,          -- or it was of this participant, for …
    account     text CHECK (account IN ('settlement_due', 'arrears')),
    entries     bigint[] NOT NULL,
    PRIMARY KEY (scheme, line),
    CHECK ((payment_id IS NULL) = (participant IS NOT NULL AND account IS NOT NULL))
);
CREATE INDEX ON bank_line_resolution (scheme, payment_id) WHERE payment_id IS NOT NULL;

GRANT SELECT, INSERT ON payment_file, payment_in_file, bank_document, bank_statement, bank_line, bank_line_resolution
    TO depositd_service;

-- How they are shown.
CREATE VIEW payment_file_shown AS
    SELECT f.scheme, f.file_id, f.business_date, f.number, json_build_object(
               'file_id', f.file_id, 'scheme', s.code, 'date', f.business_date, 'type', f.type, 'message_id', f.message_id,
               'payments', f.payments, 'total', amount_text(f.total, s.decimals), 'currency', s.currency,
               'sha256', encode(f.sha256, 'hex'), 'created_at', instant_text(f.created_at), 'created_by', k.name,
               'location', '/v1/files/' || f.file_id) AS shown
      FROM payment_file f JOIN scheme s ON s.id = f.scheme JOIN api_key k ON k.id = f.api_key;

CREATE VIEW bank_line_shown AS
    SELECT l.scheme, l.line, l.statement,
           l.disposition IN ('unmatched', 'underpaid', 'overpaid') AND r.line IS NULL AS open,
           jsonb_strip_nulls(jsonb_build_object(
               'line', s.code || '.' || l.line, 'booked_on', l.booked_on, 'amount', amount_text(l.amount, s.decimals),
               'end_to_end', l.end_to_end, 'reference', l.reference, 'return_reason', l.return_reason,
               'disposition', l.disposition, 'payment_id', l.payment_id, 'entry', l.entry)) AS shown,
           CASE WHEN r.line IS NOT NULL THEN jsonb_strip_nulls(jsonb_build_object(
               'at', instant_text(r.resolved_at), 'by', k.name, 'note', r.note, 'payment_id', r.payment_id,
               'participant', p.code, 'account', r.account, 'entries', to_jsonb(r.entries))) END AS resolution
      FROM bank_line l
      JOIN scheme s ON s.id = l.scheme
      LEFT JOIN bank_line_resolution r ON (r.scheme, r.line) = (l.scheme, l.line)
      LEFT JOIN api_key k ON k.id = r.api_key
      LEFT JOIN participant p ON p.id = r.participant;
GRANT SELECT ON payment_file_shown, bank_line_shown TO depositd_service;
