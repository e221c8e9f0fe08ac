-- The recent movements of scheme $1 have been folded; nobody needs those of earlier folds any more.
WITH forgotten AS (
    DELETE FROM recent_movement r USING scheme_head h
     WHERE r.scheme = $1::integer AND h.scheme = $1::integer AND r.last_entry <= h.folded_through)
UPDATE scheme_head SET unfolded = 0, folded_through = last_entry WHERE scheme = $1::integer
