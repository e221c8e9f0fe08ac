-- From here on day $2 of scheme $1 takes no more events, and its payments need two people if the scheme is under dual
-- control now.
UPDATE business_day d SET state = 'closing', dual_control = s.dual_control
  FROM scheme s
 WHERE s.id = d.scheme AND d.scheme = $1::integer AND d.business_date = $2::date AND d.state = 'open'
