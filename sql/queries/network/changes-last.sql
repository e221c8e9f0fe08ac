-- The number of the last change of reference data and keys.
SELECT coalesce(max(number), 0) FROM reference_change
