-- The debt of scheme $1 to each host through day $2: the host; the debt in minor units of the books, and of the agreed
-- currency; all that was ever agreed through that day; and whether the agreed currency is the host's. A payment that
-- failed is owed again. Costs by the days since the last payment to each host.
SELECT f.host,
       -folded_balance_through($1::integer, account_of(:account_between_schemes, $1::integer << 16 | f.host, 0), $2::date),
       coalesce(last.agreed_through, 0) + more.amount - paid.amount,
       coalesce(last.agreed_through, 0) + more.amount,
       coalesce((SELECT a.in_host_currency FROM agreement a WHERE a.home = $1::integer AND a.host = f.host LIMIT 1), true)
  FROM following_place f
  LEFT JOIN LATERAL (SELECT p.business_date, p.agreed_through FROM pool_payment p
                      WHERE p.scheme = $1::integer AND p.host = f.host AND p.business_date < $2::date
                      ORDER BY p.business_date DESC LIMIT 1) AS last ON true
 CROSS JOIN LATERAL (
       SELECT coalesce(sum(a.amount), 0)::bigint AS amount
         FROM business_day d
         JOIN agreed_amount a ON a.scheme = d.scheme AND a.home = $1::integer AND a.host = f.host
                             AND a.entry BETWEEN d.first_entry AND d.last_entry
         JOIN entry e ON e.scheme = a.scheme AND e.entry = a.entry AND e.business_date = d.business_date
        WHERE d.scheme = $1::integer AND d.business_date > coalesce(last.business_date, '-infinity')
          AND d.business_date <= $2::date) AS more
 CROSS JOIN LATERAL (
       SELECT coalesce(sum(p.agreed), 0)::bigint AS amount
         FROM pool_payment p
        WHERE p.scheme = $1::integer AND p.host = f.host AND p.business_date < $2::date
          AND NOT EXISTS (SELECT FROM payment_change c JOIN entry e ON (e.scheme, e.entry) = (c.scheme, c.entry)
                           WHERE c.scheme = p.scheme AND c.payment_id = p.payment_id AND c.change = 'fail'
                             AND e.business_date <= $2::date)) AS paid
 WHERE f.home = $1::integer
 ORDER BY f.host
