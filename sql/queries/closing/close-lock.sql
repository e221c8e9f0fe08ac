-- Waits until nobody else closes a day of scheme $1; held to the end of the transaction.
SELECT pg_advisory_xact_lock(hashtext('depositd close'), $1::integer)
