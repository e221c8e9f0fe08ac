-- From here on day $2 of scheme $1 takes no more events, and its payments need two people if the scheme is under dual
-- control now. The feed shows the cut after the last entry so far. $3: now.
WITH cut AS (
    UPDATE business_day d SET state = 'closing', dual_control = s.dual_control
      FROM scheme s
     WHERE s.id = d.scheme AND d.scheme = $1::integer AND d.business_date = $2::date AND d.state = 'open'
    RETURNING d.scheme, d.business_date)
INSERT INTO day_cut (scheme, business_date, after_entry, recorded_at)
SELECT c.scheme, c.business_date, h.last_entry, $3::timestamptz FROM cut c JOIN scheme_head h USING (scheme)
