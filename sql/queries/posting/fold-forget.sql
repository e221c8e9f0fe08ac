-- The recent movements of the schemes $1 have been folded; nobody needs those of earlier folds any more.
WITH forgotten AS (
    DELETE FROM recent_movement r USING scheme_head h
     WHERE h.scheme = ANY ($1::integer[]) AND r.scheme = h.scheme AND r.last_entry <= h.folded_through)
UPDATE scheme_head SET unfolded = 0, folded_through = last_entry WHERE scheme = ANY ($1::integer[])
