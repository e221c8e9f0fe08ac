-- Sessions of browsers. A person signs in with a key's name and secret; the browser then has a cookie, of which only the hash is
-- here. key_hash is the secret's at the time: a key that gets another secret has no sessions any more. Rows stay, so that it can be
-- seen who had signed in when.

CREATE TABLE browser_session (
    session   bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    hash      bytea NOT NULL UNIQUE CHECK (length(hash) = 32),
    api_key   integer NOT NULL REFERENCES api_key,
    key_hash  bytea NOT NULL,
    begun_at  timestamptz NOT NULL,
    seen_at   timestamptz NOT NULL CHECK (seen_at >= begun_at), -- to the minute
    ended_at  timestamptz
);
CREATE INDEX ON browser_session (api_key, session);
GRANT SELECT, INSERT ON browser_session TO depositd_service;
GRANT UPDATE (seen_at, ended_at) ON browser_session TO depositd_service;

-- Forms that were sent, each once: a double click, a reload or the back button does a thing once. The browser is then led to the
-- page that the form led to the first time; null: it is under way, was refused, or was cut short.
CREATE TABLE form_sent (
    session  bigint NOT NULL REFERENCES browser_session,
    once     uuid NOT NULL,
    sent_at  timestamptz NOT NULL,
    location text,
    PRIMARY KEY (session, once)
);
GRANT SELECT, INSERT ON form_sent TO depositd_service;
GRANT UPDATE (location) ON form_sent TO depositd_service;
