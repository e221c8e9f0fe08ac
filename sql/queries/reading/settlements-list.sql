-- A slice of a scheme's settlements, each as JSON, with its day's number. $1 scheme, beyond day $2 (days since 1970),
-- at most $3, $4 the sites whose participants' payments to count (null: all).
WITH counted_for AS MATERIALIZED (
    SELECT 0 AS participant WHERE $4::integer[] IS NULL
    UNION
    SELECT participant FROM site WHERE id = ANY ($4::integer[]))
SELECT json_strip_nulls(json_build_object(
           'scheme', scheme.code, 'date', s.business_date, 'closed_at', instant_text(s.closed_at),
           'payments', counted.payments, 'paid', amount_text(counted.paid, decimals))),
       s.business_date - date '1970-01-01'
  FROM (SELECT business_date, closed_at FROM settlement
         WHERE scheme = $1::integer AND business_date :beyond date '1970-01-01' + least($2::bigint, 1000000)::integer
         ORDER BY business_date :onward LIMIT $3::integer) AS s
  JOIN scheme ON scheme.id = $1::integer
 CROSS JOIN LATERAL (
       SELECT coalesce(sum(d.payments), 0)::bigint AS payments, coalesce(sum(d.paid), 0) AS paid
         FROM counted_for
        CROSS JOIN LATERAL (SELECT p.payments, p.paid FROM payment_day p
                             WHERE p.scheme = $1::integer AND p.business_date = s.business_date
                               AND p.participant = counted_for.participant
                            OFFSET 0) AS d) AS counted
 ORDER BY s.business_date :onward
