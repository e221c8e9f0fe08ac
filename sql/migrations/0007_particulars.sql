-- What verifying the sealed days needs.

-- What a check says of its findings: a line each, of no more than can be read.
CREATE FUNCTION first_lines(lines text[]) RETURNS text
    LANGUAGE sql IMMUTABLE PARALLEL SAFE
    RETURN array_to_string(lines[1:1000], E'\n');

-- Whether an entry's date and legs are such as the service writes: a superuser can store arrays that other programs read
-- differently, with other bounds, holes or more dimensions.
CREATE FUNCTION leaf_is_sound(business_date date, accounts bigint[], amounts bigint[]) RETURNS boolean
    LANGUAGE sql IMMUTABLE PARALLEL SAFE
    RETURN business_date BETWEEN '1970-01-01' AND '9999-12-31'
       AND cardinality(accounts) = cardinality(amounts)
       AND (cardinality(accounts) = 0
            OR array_dims(accounts) = format('[1:%s]', cardinality(accounts)) AND array_dims(amounts) = array_dims(accounts)
               AND array_position(accounts, NULL) IS NULL AND array_position(amounts, NULL) IS NULL);

-- The particulars of a closed day: what is fixed with it but is in none of its leaves, nor in the document that its seal is
-- over. A row is a link of a chain of its own, which holds the seal: digest = SHA-256(previous, seal, parts), where parts has
-- 32 bytes for each part, in the order in which the service knows them. The first previous is 32 zero bytes.
CREATE TABLE particulars (
    scheme        integer NOT NULL,
    business_date date NOT NULL,
    previous      bytea NOT NULL,
    parts         bytea NOT NULL,
    digest        bytea NOT NULL,
    PRIMARY KEY (scheme, business_date),
    FOREIGN KEY (scheme, business_date) REFERENCES settlement
);

GRANT SELECT, INSERT ON particulars TO depositd_service;
