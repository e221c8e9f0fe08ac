-- The figures of day $2 of scheme $1 for each of its sites, in the order of their codes. A site is open if it
-- and the scheme have a day after this one.
SELECT s.id, s.participant, s.opened_on <= $2::date AND coalesce(s.closed_on > $2::date, true)
           AND coalesce((SELECT c.closed_on > $2::date FROM scheme c WHERE c.id = s.scheme), true),
       folded_balance_through($1::integer, account_of(:account_site_clearing, s.id, 0), $2::date)
  FROM site s
 WHERE s.scheme = $1::integer
 ORDER BY s.code COLLATE "C"
