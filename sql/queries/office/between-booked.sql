-- Line $3 of the bank of host $1 is a payment of home $2. The amount that the host has in its books for the returns
-- that the line pays: all returns that the home had followed through the day of the payment, less those that earlier
-- lines paid. If the line names no such payment, its own amount.
SELECT coalesce((SELECT sum(l.amount)
                   FROM pool_payment p
                   JOIN followed_entry f ON f.scheme = p.scheme AND f.host = p.host
                   JOIN entry h ON h.scheme = f.scheme AND h.entry = f.entry AND h.business_date <= p.business_date
                   JOIN entry k ON k.scheme = f.host AND k.entry = f.host_entry
                  CROSS JOIN LATERAL unnest(k.accounts, k.amounts) AS l(account, amount)
                  WHERE p.scheme = $2::integer AND p.host = $1::integer AND p.payment_id = b.end_to_end
                    AND l.account = account_of(:account_between_schemes, $2::integer << 16 | $1::integer, 0))
                + (SELECT coalesce(sum(l.amount), 0)
                     FROM bank_line_resolution r
                     JOIN entry e ON e.scheme = r.scheme AND e.entry = ANY (r.entries)
                    CROSS JOIN LATERAL unnest(e.accounts, e.amounts) AS l(account, amount)
                    WHERE r.scheme = $1::integer AND r.account = 'between_schemes'
                      AND l.account = account_of(:account_between_schemes, $2::integer << 16 | $1::integer, 0)), b.amount)::bigint
  FROM bank_line b WHERE b.scheme = $1::integer AND b.line = $3::bigint
