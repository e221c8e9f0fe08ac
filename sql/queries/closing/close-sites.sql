-- The figures of day $2 of scheme $1 for each of its sites, in the order of their codes.
SELECT s.id, s.participant, s.opened_on <= $2::date AND coalesce(s.closed_on > $2::date, true),
       folded_balance_through($1::integer, account_of(:account_site_clearing, s.id, 0), $2::date)
  FROM site s
 WHERE s.scheme = $1::integer
 ORDER BY s.code COLLATE "C"
