-- Payments' life after the close. What the close fixed of a payment never changes; its state does, and each change is a row.

ALTER TABLE payment DROP CONSTRAINT payment_status_check;
ALTER TABLE payment ADD CONSTRAINT payment_status_check
    CHECK (status IN ('computed', 'approved', 'instructed', 'confirmed', 'failed'));
ALTER TABLE payment ADD COLUMN released boolean NOT NULL DEFAULT false; -- a held payment that a person let go

-- Who did what to a payment, when and why, and the entry that it posted.
CREATE TABLE payment_change (
    scheme     integer NOT NULL,
    payment_id text NOT NULL,
    position   smallint NOT NULL, -- 1, 2 …
    changed_at timestamptz NOT NULL,
    api_key    integer,           -- null: the service itself
    change     text NOT NULL CHECK (change IN ('release', 'approve', 'instruct', 'confirm', 'fail')),
    note       text,
    entry      bigint,
    PRIMARY KEY (scheme, payment_id, position)
);

GRANT SELECT, INSERT ON payment_change TO depositd_service;
GRANT UPDATE (status, released) ON payment TO depositd_service;
