-- The balances, as they stand, of the accounts $2 of the schemes $1; in their order. As balance_through has it, written
-- out here because the writer asks for many, and a function's body is planned anew at each call.
SELECT coalesce(c.closing, 0)
     + coalesce((SELECT sum(b.movement) FROM balance b
                  WHERE b.scheme = a.scheme AND b.account = a.account
                    AND b.business_date > coalesce(c.business_date, '-infinity')), 0)
     + coalesce(r.movement, 0)
  FROM unnest($1::integer[], $2::bigint[]) WITH ORDINALITY AS a(scheme, account, place)
  LEFT JOIN LATERAL (SELECT b.business_date, b.closing FROM balance b
                      WHERE b.scheme = a.scheme AND b.account = a.account AND b.closing IS NOT NULL
                      ORDER BY b.business_date DESC LIMIT 1) c ON true
  LEFT JOIN (SELECT scheme, account, sum(movement) AS movement FROM recent_balance
              WHERE scheme = ANY ($1::integer[]) GROUP BY scheme, account) r
       USING (scheme, account)
 ORDER BY a.place
