-- Locks the heads of schemes with no entry, in one order for all. A change that is allowed only while nothing is posted
-- stays allowed to the commit. Schemes that trade do not wait.
SELECT scheme FROM scheme_head WHERE last_entry = 0 ORDER BY scheme FOR UPDATE
