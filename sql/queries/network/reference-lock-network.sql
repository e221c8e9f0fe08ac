-- Begins a change of reference data: one at a time, and every copy of the data becomes old.
UPDATE network_head SET reference_version = reference_version + 1 RETURNING reference_version
