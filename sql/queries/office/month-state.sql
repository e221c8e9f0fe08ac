-- The month of scheme $1 that has day $2: whether it has business days, whether its last one is closed, and whether it
-- is closed for journals.
SELECT EXISTS (SELECT FROM business_day d
                WHERE d.scheme = $1::integer AND d.business_date BETWEEN m.first AND (m.first + interval '1 month')::date - 1),
       EXISTS (SELECT FROM business_day d
                WHERE d.scheme = $1::integer AND d.business_date = (m.first + interval '1 month')::date - 1 AND d.state = 'closed'),
       month_is_closed($1::integer, m.first)
  FROM (SELECT month_of($2::date) AS first) AS m
