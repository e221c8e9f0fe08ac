-- Says that the calendar of scheme $1 has changed.
UPDATE scheme_head SET calendar_version = calendar_version + 1 WHERE scheme = $1::integer
