-- Reference data: cup types, participants, schemes with their effective-dated terms and refund values, sites, keys.
-- Codes are what clients use; the small ids are what the ledger stores. An id is the highest so far and one, drawn under the
-- lock of network_head, so that what is rolled back uses none up: accounts and arrays are indexed by them.

CREATE DOMAIN code AS text CHECK (VALUE ~ '^[a-z0-9][a-z0-9-]{0,31}$');

-- One row: raised by every change of reference data, so that a copy of it can be told to be current.
CREATE TABLE network_head (
    one               boolean PRIMARY KEY DEFAULT true CHECK (one),
    reference_version bigint NOT NULL
);
INSERT INTO network_head (reference_version) VALUES (1);

CREATE TABLE cup_type (
    id        integer PRIMARY KEY CHECK (id < 65536), -- 16 bits of an account number
    code      code NOT NULL UNIQUE,
    name      text NOT NULL,
    volume_ml integer NOT NULL CHECK (volume_ml > 0),
    mass_g    integer NOT NULL CHECK (mass_g > 0),
    grai      text
);

CREATE TABLE participant (
    id             integer PRIMARY KEY,
    code           code NOT NULL UNIQUE CHECK (code <> 'pool'), -- the operator's name as a party to payments
    name           text NOT NULL,
    bank_account   jsonb,
    bic            text,
    tax_registered boolean NOT NULL,
    mandate        jsonb
);

CREATE TABLE scheme (
    id                  integer PRIMARY KEY,
    code                code NOT NULL UNIQUE,
    currency            text NOT NULL CHECK (currency ~ '^[A-Z]{3}$'),
    decimals            integer NOT NULL CHECK (decimals BETWEEN 0 AND 4), -- ISO 4217, as the service knows it
    time_zone           text NOT NULL,
    cut_off             time NOT NULL,
    close_after_minutes integer NOT NULL,
    stock_terms         text NOT NULL CHECK (stock_terms IN ('on_loan', 'on_deposit')),
    return_target_ppm   integer NOT NULL CHECK (return_target_ppm BETWEEN 0 AND 1000000),
    dual_control        boolean NOT NULL,
    count_tolerance     integer NOT NULL CHECK (count_tolerance >= 0), -- cups
    variance_limit      bigint CHECK (variance_limit >= 0),           -- minor units
    carry_days          integer NOT NULL CHECK (carry_days >= 0),
    operator            jsonb,
    holidays            date[] NOT NULL
);

CREATE TABLE terms (
    scheme          integer NOT NULL REFERENCES scheme,
    effective_date  date NOT NULL,
    netting         text NOT NULL CHECK (netting IN ('central', 'direct')),
    minimum_payment bigint NOT NULL CHECK (minimum_payment >= 0),
    service_fee     bigint NOT NULL CHECK (service_fee >= 0),
    handling_fee    bigint NOT NULL CHECK (handling_fee >= 0),
    tax_rate_ppm    integer NOT NULL CHECK (tax_rate_ppm BETWEEN 0 AND 1000000),
    shortage_terms  text NOT NULL CHECK (shortage_terms IN ('absorb', 'charge')),
    variance_terms  text NOT NULL CHECK (variance_terms IN ('absorb', 'charge')),
    PRIMARY KEY (scheme, effective_date)
);

CREATE TABLE refund_value (
    scheme         integer NOT NULL REFERENCES scheme,
    cup_type       integer NOT NULL REFERENCES cup_type,
    effective_date date NOT NULL,
    amount         bigint NOT NULL CHECK (amount > 0),
    PRIMARY KEY (scheme, cup_type, effective_date)
);

CREATE TABLE site (
    id          integer PRIMARY KEY,
    code        code NOT NULL UNIQUE,
    scheme      integer NOT NULL REFERENCES scheme,
    participant integer NOT NULL REFERENCES participant,
    name        text NOT NULL,
    kind        text NOT NULL CHECK (kind IN ('cafe', 'return_point', 'hub')),
    opened_on   date NOT NULL,
    closed_on   date CHECK (closed_on >= opened_on),
    latitude    double precision CHECK (latitude BETWEEN -90 AND 90),
    longitude   double precision CHECK (longitude BETWEEN -180 AND 180),
    gln         text,
    par_stock   jsonb
);
CREATE INDEX ON site (scheme);

-- Secrets are random and long, so that a plain SHA-256 keeps them.
CREATE TABLE api_key (
    id          integer PRIMARY KEY,
    name        code NOT NULL,
    role        text NOT NULL CHECK (role IN ('pos', 'participant', 'auditor', 'accountant', 'admin')),
    secret_hash bytea NOT NULL UNIQUE CHECK (length(secret_hash) = 32),
    participant integer REFERENCES participant CHECK ((participant IS NOT NULL) = (role = 'participant')),
    created_at  timestamptz NOT NULL DEFAULT now(),
    revoked_at  timestamptz
);
CREATE UNIQUE INDEX ON api_key (name) WHERE revoked_at IS NULL;

CREATE TABLE api_key_site (
    api_key integer NOT NULL REFERENCES api_key,
    site    integer NOT NULL REFERENCES site,
    PRIMARY KEY (api_key, site)
);

-- An amount of minor units as a decimal text with exactly the currency's decimals.
CREATE FUNCTION amount_text(minor numeric, decimals integer) RETURNS text
    LANGUAGE sql IMMUTABLE STRICT PARALLEL SAFE
    RETURN round(minor / power(10::numeric, decimals), decimals)::text;

-- Parts per million as the decimal text of a fraction: 150000 is 0.15.
CREATE FUNCTION rate_text(ppm integer) RETURNS text
    LANGUAGE sql IMMUTABLE STRICT PARALLEL SAFE
    RETURN to_char(ppm / 1000000.0::numeric, 'FM0.009999');

-- An instant as RFC 3339 in UTC.
CREATE FUNCTION instant_text(instant timestamptz) RETURNS text
    LANGUAGE sql STABLE STRICT PARALLEL SAFE
    RETURN to_char(instant AT TIME ZONE 'UTC', 'YYYY-MM-DD"T"HH24:MI:SS"Z"');

-- Microseconds since 1970, as the service holds instants.
CREATE FUNCTION instant_us(instant timestamptz) RETURNS bigint
    LANGUAGE sql IMMUTABLE STRICT PARALLEL SAFE
    RETURN (extract(epoch FROM instant) * 1000000)::bigint;

-- When a business day starts: an ambiguous cut-off is the later instant, a skipped one comes after the gap.
CREATE FUNCTION day_start(business_date date, cut_off time, time_zone text) RETURNS timestamptz
    LANGUAGE sql STABLE STRICT PARALLEL SAFE
    RETURN (business_date + cut_off) AT TIME ZONE time_zone;

GRANT SELECT, UPDATE ON network_head TO depositd_service;
GRANT SELECT, INSERT, UPDATE ON cup_type, participant, scheme, terms, refund_value, site, api_key TO depositd_service;
GRANT SELECT, INSERT ON api_key_site TO depositd_service;
