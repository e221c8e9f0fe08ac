-- Tells the next writer that its copy of the reference data is old. $1: the version.
UPDATE scheme_head SET reference_version = $1
