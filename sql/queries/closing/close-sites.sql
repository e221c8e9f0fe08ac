-- The figures of day $2 of scheme $1 for each of its sites, in the order of their codes.
SELECT s.id, s.participant, s.opened_on <= $2::date AND coalesce(s.closed_on > $2::date, true),
       folded_balance_through($1::integer, account_of(:account_site_clearing, s.id, 0), $2::date),
       coalesce(d.issued, 0), coalesce(d.returned, 0)
  FROM site s
  LEFT JOIN site_day d ON d.scheme = s.scheme AND d.business_date = $2::date AND d.site = s.id
 WHERE s.scheme = $1::integer
 ORDER BY s.code COLLATE "C"
