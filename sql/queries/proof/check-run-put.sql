-- Keeps how the checks ended. $1: schemes; $2: how many checks are broken, beside each.
INSERT INTO check_run AS held (scheme, checked_at, broken)
SELECT r.scheme, now(), r.broken FROM unnest($1::integer[], $2::integer[]) AS r(scheme, broken) ORDER BY r.scheme
    ON CONFLICT (scheme) DO UPDATE SET checked_at = excluded.checked_at, broken = excluded.broken
 WHERE held.checked_at <= excluded.checked_at
