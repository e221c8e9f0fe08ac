-- The same lock of scheme $1 as close-lock, without waiting. Whether it is held now: not if somebody else closes a day.
SELECT pg_try_advisory_xact_lock(hashtext('depositd close'), $1::integer)
