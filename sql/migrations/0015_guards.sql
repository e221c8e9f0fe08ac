-- The database holds the service's own role to what is fixed: balances and figures of closed days, and heads that only move on.
-- Triggers run after the change, for one that runs before it locks the row first. A condition of one comparison stands in the
-- trigger; PostgreSQL reads a longer one anew for each statement, which takes longer than to call a function.

CREATE FUNCTION refuse_change() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION '%', TG_ARGV[0] USING ERRCODE = 'integrity_constraint_violation';
END $$;

-- Heads.
CREATE FUNCTION scheme_head_guard() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF NEW.scheme <> OLD.scheme OR NEW.last_entry < OLD.last_entry OR NEW.gross < OLD.gross
       OR NEW.reference_version < OLD.reference_version OR NEW.calendar_version < OLD.calendar_version
       OR NEW.folded_through < OLD.folded_through OR NEW.folded_through > NEW.last_entry OR NEW.unfolded < 0 THEN
        RAISE EXCEPTION 'a head only moves on' USING ERRCODE = 'integrity_constraint_violation';
    END IF;
    RETURN NULL;
END $$;
CREATE TRIGGER scheme_head_guard AFTER UPDATE ON scheme_head FOR EACH ROW EXECUTE FUNCTION scheme_head_guard();
CREATE TRIGGER network_head_guard AFTER UPDATE ON network_head FOR EACH ROW
    WHEN (NEW.reference_version < OLD.reference_version)
    EXECUTE FUNCTION refuse_change('a head only moves on');

-- A row of a day's figures is added or changed only while the day is not closed.
CREATE FUNCTION closed_day_guard() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF coalesce((SELECT d.state FROM business_day d WHERE d.scheme = NEW.scheme AND d.business_date = NEW.business_date), 'closed')
       = 'closed' THEN
        RAISE EXCEPTION 'the day is closed' USING ERRCODE = 'integrity_constraint_violation';
    END IF;
    RETURN NULL;
END $$;

-- A closing balance is set once, by the close.
CREATE FUNCTION closing_balance_guard() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF TG_OP = 'UPDATE' AND OLD.closing IS NOT NULL THEN
        RAISE EXCEPTION 'the balance is closed' USING ERRCODE = 'integrity_constraint_violation';
    END IF;
    IF (SELECT d.state FROM business_day d WHERE d.scheme = NEW.scheme AND d.business_date = NEW.business_date)
       IS DISTINCT FROM 'closing' THEN
        RAISE EXCEPTION 'the day does not close' USING ERRCODE = 'integrity_constraint_violation';
    END IF;
    RETURN NULL;
END $$;
CREATE TRIGGER balance_closes AFTER UPDATE ON balance FOR EACH ROW
    WHEN (OLD.closing IS NOT NULL OR NEW.closing IS NOT NULL)
    EXECUTE FUNCTION closing_balance_guard();
CREATE TRIGGER balance_of_open_day AFTER INSERT ON balance FOR EACH ROW
    WHEN (NEW.closing IS NULL)
    EXECUTE FUNCTION closed_day_guard();
CREATE TRIGGER balance_of_closing_day AFTER INSERT ON balance FOR EACH ROW
    WHEN (NEW.closing IS NOT NULL)
    EXECUTE FUNCTION closing_balance_guard();

CREATE TRIGGER site_day_is_added AFTER INSERT ON site_day FOR EACH ROW EXECUTE FUNCTION closed_day_guard();
CREATE TRIGGER site_day_changes AFTER UPDATE ON site_day FOR EACH ROW EXECUTE FUNCTION closed_day_guard();
CREATE TRIGGER reversed_day_is_added AFTER INSERT ON reversed_day FOR EACH ROW EXECUTE FUNCTION closed_day_guard();
CREATE TRIGGER reversed_day_changes AFTER UPDATE ON reversed_day FOR EACH ROW EXECUTE FUNCTION closed_day_guard();

-- A recent batch is forgotten after it has been added to the balances.
CREATE FUNCTION recent_movement_guard() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF EXISTS (SELECT FROM deleted r JOIN scheme_head h USING (scheme) WHERE r.last_entry > h.folded_through) THEN
        RAISE EXCEPTION 'the batch is not in the balances yet' USING ERRCODE = 'integrity_constraint_violation';
    END IF;
    RETURN NULL;
END $$;
CREATE TRIGGER recent_movement_guard AFTER DELETE ON recent_movement
    REFERENCING OLD TABLE AS deleted FOR EACH STATEMENT EXECUTE FUNCTION recent_movement_guard();

-- Terms and values of days that are closing or closed stand.
CREATE FUNCTION dated_guard() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF EXISTS (SELECT FROM business_day d
                WHERE d.scheme = NEW.scheme AND d.state <> 'open'
                  AND d.business_date >= least(NEW.effective_date, CASE TG_OP WHEN 'UPDATE' THEN OLD.effective_date END)) THEN
        RAISE EXCEPTION 'a day since then is closed' USING ERRCODE = 'integrity_constraint_violation';
    END IF;
    RETURN NEW;
END $$;
-- Deferred, because the service writes first and then says why it may not: starts_too_soon, and no failed statement.
CREATE CONSTRAINT TRIGGER terms_guard AFTER INSERT OR UPDATE ON terms DEFERRABLE INITIALLY DEFERRED
    FOR EACH ROW EXECUTE FUNCTION dated_guard();
CREATE CONSTRAINT TRIGGER refund_value_guard AFTER INSERT OR UPDATE ON refund_value DEFERRABLE INITIALLY DEFERRED
    FOR EACH ROW EXECUTE FUNCTION dated_guard();

-- What a close fixes is added while the day closes.
CREATE FUNCTION closing_day_guard() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF EXISTS (SELECT FROM (SELECT DISTINCT scheme, business_date FROM inserted) i
                 LEFT JOIN business_day d USING (scheme, business_date)
                WHERE d.state IS DISTINCT FROM 'closing') THEN
        RAISE EXCEPTION 'the day does not close' USING ERRCODE = 'integrity_constraint_violation';
    END IF;
    RETURN NULL;
END $$;
CREATE TRIGGER settlement_guard AFTER INSERT ON settlement
    REFERENCING NEW TABLE AS inserted FOR EACH STATEMENT EXECUTE FUNCTION closing_day_guard();
CREATE TRIGGER position_guard AFTER INSERT ON position
    REFERENCING NEW TABLE AS inserted FOR EACH STATEMENT EXECUTE FUNCTION closing_day_guard();
CREATE TRIGGER payment_of_closing_day AFTER INSERT ON payment
    REFERENCING NEW TABLE AS inserted FOR EACH STATEMENT EXECUTE FUNCTION closing_day_guard();
CREATE TRIGGER payment_begins BEFORE INSERT ON payment FOR EACH ROW
    WHEN (NEW.status <> 'computed' OR NEW.released)
    EXECUTE FUNCTION refuse_change('a payment begins as computed');

-- A day begins open and empty, counts upwards, goes from open to closing to closed in its turn, and keeps its bounds. It is
-- closed when it has a settlement.
CREATE OR REPLACE FUNCTION business_day_guard() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF NEW.state = OLD.state AND OLD.state <> 'closed' AND NEW.scheme = OLD.scheme AND NEW.business_date = OLD.business_date
       AND NEW.starts_at = OLD.starts_at AND NEW.ends_at = OLD.ends_at
       AND NEW.entries >= OLD.entries AND NEW.events >= OLD.events AND NEW.late_events >= OLD.late_events
       AND (OLD.first_entry IS NULL OR NEW.first_entry = OLD.first_entry AND NEW.last_entry >= OLD.last_entry) THEN
        RETURN NULL; -- something was posted to it
    END IF;
    IF OLD.state = 'closed'
       OR (OLD.scheme, OLD.business_date, OLD.starts_at, OLD.ends_at)
          IS DISTINCT FROM (NEW.scheme, NEW.business_date, NEW.starts_at, NEW.ends_at)
       OR (OLD.entries, OLD.events, OLD.late_events, OLD.first_entry, OLD.last_entry, OLD.frontier)
          IS DISTINCT FROM (NEW.entries, NEW.events, NEW.late_events, NEW.first_entry, NEW.last_entry, NEW.frontier)
       OR (OLD.state, NEW.state) NOT IN (('open', 'closing'), ('closing', 'closed'))
       OR NEW.state = 'closed' AND NOT EXISTS (SELECT FROM settlement s
                                                WHERE s.scheme = NEW.scheme AND s.business_date = NEW.business_date)
       OR NEW.state = 'closed' AND EXISTS (SELECT FROM business_day d
                                            WHERE d.scheme = NEW.scheme AND d.business_date < NEW.business_date
                                              AND d.state <> 'closed') THEN
        RAISE EXCEPTION 'a business day can''t change like that' USING ERRCODE = 'integrity_constraint_violation';
    END IF;
    RETURN NULL;
END $$;
DROP TRIGGER business_day_guard ON business_day;
CREATE TRIGGER business_day_guard AFTER UPDATE ON business_day FOR EACH ROW EXECUTE FUNCTION business_day_guard();
CREATE TRIGGER business_day_is_kept BEFORE DELETE ON business_day FOR EACH ROW
    WHEN (OLD.entries > 0 OR OLD.state <> 'open')
    EXECUTE FUNCTION refuse_change('a business day with entries, or that closes, stays');
CREATE TRIGGER business_day_begins BEFORE INSERT ON business_day FOR EACH ROW
    WHEN (NEW.state <> 'open' OR NEW.entries <> 0 OR NEW.events <> 0 OR NEW.late_events <> 0
          OR NEW.first_entry IS NOT NULL OR NEW.last_entry IS NOT NULL OR NEW.frontier <> '')
    EXECUTE FUNCTION refuse_change('a business day begins open and empty');

-- As before, and no number stands twice in one statement.
CREATE OR REPLACE FUNCTION entry_guard() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF EXISTS (SELECT FROM inserted WHERE cardinality(accounts) <> cardinality(amounts))
       OR EXISTS (SELECT FROM inserted i, unnest(i.accounts, i.amounts) AS l(account, amount)
                   WHERE legs_pair_up(i.accounts, i.amounts) IS NOT TRUE
                   GROUP BY i.scheme, i.entry, account_unit(l.account)
                  HAVING sum(l.amount) <> 0 OR count(l.amount) < count(*)) THEN
        RAISE EXCEPTION 'an entry does not balance' USING ERRCODE = 'integrity_constraint_violation';
    END IF;
    IF EXISTS (SELECT FROM (SELECT scheme, min(entry) AS first, max(entry) AS last, count(*) AS entries, count(DISTINCT entry) AS numbers
                              FROM inserted GROUP BY scheme) i
                 LEFT JOIN scheme_head h USING (scheme)
                WHERE h.last_entry IS NULL OR i.first <> h.last_entry + 1 OR i.last <> h.last_entry + i.entries
                   OR i.numbers <> i.entries) THEN
        RAISE EXCEPTION 'entries are not numbered on from the head' USING ERRCODE = 'integrity_constraint_violation';
    END IF;
    IF EXISTS (SELECT FROM (SELECT DISTINCT scheme, business_date, kind IN (20, 21) AS by_close FROM inserted) i
                 LEFT JOIN business_day d USING (scheme, business_date)
                WHERE d.state IS NULL OR d.state <> CASE WHEN i.by_close THEN 'closing' ELSE 'open' END) THEN
        RAISE EXCEPTION 'an entry is for a day that does not take it' USING ERRCODE = 'integrity_constraint_violation';
    END IF;
    RETURN NULL;
END $$;

-- The keys of rows stand.
REVOKE UPDATE ON network_head, balance, site_day, transfer, forfeited FROM depositd_service;
GRANT UPDATE (reference_version) ON network_head TO depositd_service;
GRANT UPDATE (movement, closing) ON balance TO depositd_service;
GRANT UPDATE (issued, returned, collected, refunded, stock, other, fees, tax) ON site_day TO depositd_service;
GRANT UPDATE (sent, received, lost) ON transfer TO depositd_service;
GRANT UPDATE (cups) ON forfeited TO depositd_service;
