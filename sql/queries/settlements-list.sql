-- A page of a scheme's settlements, each as JSON, with its day's number. $1 scheme, after day $2 (days since 1970), at most $3, $4 the sites whose participants'
-- payments to count (null: all).
WITH own AS (SELECT participant FROM site WHERE id = ANY ($4::integer[]))
SELECT json_strip_nulls(json_build_object(
           'scheme', scheme.code, 'date', business_date, 'closed_at', instant_text(closed_at),
           'payments', payments, 'paid', amount_text(paid, decimals))),
       business_date - date '1970-01-01'
  FROM settlement s
  JOIN scheme ON scheme.id = s.scheme
 CROSS JOIN LATERAL (
       SELECT count(*) AS payments, coalesce(sum(amount), 0) AS paid FROM payment p
        WHERE (p.scheme, p.business_date) = (s.scheme, s.business_date)
          AND ($4::integer[] IS NULL OR payer IN (SELECT participant FROM own) OR payee IN (SELECT participant FROM own))
       ) AS counted
 WHERE s.scheme = $1::integer AND business_date > date '1970-01-01' + $2::integer
 ORDER BY business_date LIMIT $3::integer
