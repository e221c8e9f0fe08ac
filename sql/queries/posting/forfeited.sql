-- Cups of cup type $2 that are forfeited in scheme $1 and not reinstated.
SELECT cups FROM forfeited WHERE scheme = $1::integer AND cup_type = $2::integer
