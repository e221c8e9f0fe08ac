-- Of any number, as it may stand in a row that somebody has tampered with: what is no account has an owner, too.
CREATE OR REPLACE FUNCTION account_owner(account bigint) RETURNS integer
    LANGUAGE sql IMMUTABLE PARALLEL SAFE RETURN (account >> 16)::bit(32)::integer;
