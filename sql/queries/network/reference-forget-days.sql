-- Drops a scheme's business days, to be made anew by other terms, zone or cut-off: only while nothing is posted
-- and no day is closing or closed. $1: the scheme's code.
WITH gone AS (
    DELETE FROM business_day WHERE scheme = (SELECT id FROM scheme WHERE code = $1::text) RETURNING scheme)
UPDATE scheme_head SET calendar_version = calendar_version + 1 WHERE scheme IN (SELECT scheme FROM gone)
