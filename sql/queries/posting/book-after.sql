-- The sums posted to the stock of site $2 of scheme $1 by entries that occurred after $3, per account: such
-- entries post to the day in which $3 lies ($4) or a later one.
SELECT l.account, sum(l.amount)::bigint
  FROM entry e, unnest(e.accounts, e.amounts) AS l(account, amount)
 WHERE e.scheme = $1::integer
   AND e.entry >= (SELECT min(first_entry) FROM business_day WHERE scheme = $1::integer AND business_date >= $4::date)
   AND e.site = $2::integer -- only an entry of the site moves the site's stock
   AND e.occurred_at > $3::timestamptz
   AND account_kind_of(l.account) = :account_site_stock
 GROUP BY l.account
