-- The cut of a day: from there on it takes no more events. The feed shows it after the last entry that was numbered before it,
-- so that a replay posts every event to the same day.

CREATE TABLE day_cut (
    scheme        integer NOT NULL,
    business_date date NOT NULL,
    after_entry   bigint NOT NULL CHECK (after_entry >= 0), -- 0: no entry came before
    recorded_at   timestamptz, -- null: the day was cut before cuts were kept
    PRIMARY KEY (scheme, business_date),
    FOREIGN KEY (scheme, business_date) REFERENCES business_day
);
CREATE INDEX ON day_cut (scheme, after_entry, business_date); -- the order of the feed

-- Of days that were cut before: after the last entry that is not of the day's close, and after all of the days before. Nothing
-- that was late for the day has a lower number.
INSERT INTO day_cut (scheme, business_date, after_entry)
SELECT d.scheme, d.business_date,
       greatest(own.entry, max(d.last_entry) OVER (PARTITION BY d.scheme ORDER BY d.business_date
                                                   ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING), 0)
  FROM business_day d
  LEFT JOIN LATERAL (
       SELECT e.entry FROM entry e
        WHERE e.scheme = d.scheme AND e.entry BETWEEN d.first_entry AND d.last_entry AND e.business_date = d.business_date
          AND e.kind NOT IN (20, 21)
        ORDER BY e.entry DESC LIMIT 1) own ON true
 WHERE d.state <> 'open';

-- A cut is recorded by the statement that makes it, at the head of its scheme.
CREATE FUNCTION day_cut_guard() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF (SELECT d.state FROM business_day d WHERE d.scheme = NEW.scheme AND d.business_date = NEW.business_date)
       IS DISTINCT FROM 'closing'
       OR NEW.after_entry IS DISTINCT FROM (SELECT h.last_entry FROM scheme_head h WHERE h.scheme = NEW.scheme)
       OR NEW.recorded_at IS NULL THEN
        RAISE EXCEPTION 'the day is not cut here' USING ERRCODE = 'integrity_constraint_violation';
    END IF;
    RETURN NULL;
END $$;
CREATE TRIGGER day_cut_guard AFTER INSERT ON day_cut FOR EACH ROW EXECUTE FUNCTION day_cut_guard();

-- And no day is cut without it.
CREATE FUNCTION day_cut_is_kept() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF NOT EXISTS (SELECT FROM day_cut c WHERE c.scheme = NEW.scheme AND c.business_date = NEW.business_date) THEN
        RAISE EXCEPTION 'the cut of the day is not recorded' USING ERRCODE = 'integrity_constraint_violation';
    END IF;
    RETURN NULL;
END $$;
CREATE CONSTRAINT TRIGGER day_cut_is_kept AFTER UPDATE ON business_day DEFERRABLE INITIALLY DEFERRED
    FOR EACH ROW WHEN (OLD.state = 'open' AND NEW.state <> 'open') EXECUTE FUNCTION day_cut_is_kept();

GRANT SELECT, INSERT ON day_cut TO depositd_service;
