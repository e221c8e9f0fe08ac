-- What was recent in scheme $1 has been folded.
WITH folded AS (DELETE FROM recent_movement WHERE scheme = $1::integer)
UPDATE scheme_head SET unfolded = 0 WHERE scheme = $1::integer
