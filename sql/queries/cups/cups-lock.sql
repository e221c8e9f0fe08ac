-- Whether this transaction may look at entries for cups: one instance does at a time.
SELECT pg_try_advisory_xact_lock(hashtext('depositd cups'))
