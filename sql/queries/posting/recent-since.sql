-- The movements of the batches of the schemes $1 after their entries $2, in order; days as numbers from 1970-01-01.
SELECT scheme, after_entry, last_entry,
       accounts, ARRAY(SELECT day - date '1970-01-01' FROM unnest(days) WITH ORDINALITY AS d(day, place) ORDER BY place),
       amounts, sites, ARRAY(SELECT day - date '1970-01-01' FROM unnest(site_days) WITH ORDINALITY AS d(day, place) ORDER BY place),
       issued, returned, collected, refunded, stock, other
  FROM unnest($1::integer[], $2::bigint[]) AS a(scheme, since)
 CROSS JOIN LATERAL (SELECT after_entry, last_entry, accounts, days, amounts, sites, site_days, issued, returned,
                            collected, refunded, stock, other
                       FROM recent_movement r WHERE r.scheme = a.scheme AND r.last_entry > a.since
                      ORDER BY r.last_entry) r
 ORDER BY scheme, last_entry
