-- Each scheme belongs to a group. The events of a group are posted by a writer of its own.

ALTER TABLE scheme ADD COLUMN posting_group integer NOT NULL DEFAULT 1 CHECK (posting_group BETWEEN 1 AND 16);
