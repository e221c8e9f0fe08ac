-- An instance looks whether it is of this version before it serves.
GRANT SELECT ON schema_version TO depositd_service;

-- Most entries have two legs of money, or of cups, or both, one against the other. Of others, null or false says nothing.
CREATE FUNCTION legs_pair_up(accounts bigint[], amounts bigint[]) RETURNS boolean
    LANGUAGE sql IMMUTABLE PARALLEL SAFE
    RETURN cardinality(accounts) = cardinality(amounts)
           AND accounts[1] IS NOT NULL AND accounts[2] IS NOT NULL
           AND account_unit(accounts[1]) = account_unit(accounts[2]) AND amounts[1] = -amounts[2]
           AND (cardinality(amounts) = 2
                OR cardinality(amounts) = 4 AND accounts[3] IS NOT NULL AND accounts[4] IS NOT NULL
                   AND account_unit(accounts[3]) = account_unit(accounts[4]) AND amounts[3] = -amounts[4]);

-- As before, but only the legs of those others are summed up, and none is without an amount.
CREATE OR REPLACE FUNCTION entry_guard() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF EXISTS (SELECT FROM inserted WHERE cardinality(accounts) <> cardinality(amounts))
       OR EXISTS (SELECT FROM inserted i, unnest(i.accounts, i.amounts) AS l(account, amount)
                   WHERE legs_pair_up(i.accounts, i.amounts) IS NOT TRUE
                   GROUP BY i.scheme, i.entry, account_unit(l.account)
                  HAVING sum(l.amount) <> 0 OR count(l.amount) < count(*)) THEN
        RAISE EXCEPTION 'an entry does not balance' USING ERRCODE = 'integrity_constraint_violation';
    END IF;
    IF EXISTS (SELECT FROM (SELECT scheme, min(entry) AS first, max(entry) AS last, count(*) AS entries
                              FROM inserted GROUP BY scheme) i
                 LEFT JOIN scheme_head h USING (scheme)
                WHERE h.last_entry IS NULL OR i.first <> h.last_entry + 1 OR i.last <> h.last_entry + i.entries) THEN
        RAISE EXCEPTION 'entries are not numbered on from the head' USING ERRCODE = 'integrity_constraint_violation';
    END IF;
    IF EXISTS (SELECT FROM (SELECT DISTINCT scheme, business_date, kind IN (20, 21) AS by_close FROM inserted) i
                 LEFT JOIN business_day d USING (scheme, business_date)
                WHERE d.state IS NULL OR d.state <> CASE WHEN i.by_close THEN 'closing' ELSE 'open' END) THEN
        RAISE EXCEPTION 'an entry is for a day that does not take it' USING ERRCODE = 'integrity_constraint_violation';
    END IF;
    RETURN NULL;
END $$;
