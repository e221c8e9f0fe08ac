-- Drops the business days of schemes, to be made anew by other terms, zone or cut-off: only while nothing is posted and
-- no day is closing or closed. $1: the schemes' codes.
WITH gone AS (
    DELETE FROM business_day WHERE scheme IN (SELECT id FROM scheme WHERE code = ANY ($1::text[])) RETURNING scheme)
UPDATE scheme_head SET calendar_version = calendar_version + 1 WHERE scheme IN (SELECT scheme FROM gone)
