-- A slice of a scheme's fee notes, each as JSON, with its number. $1 scheme, beyond number $2, at most $3, $4 the sites
-- whose participants' notes to show (null: all), $5 a participant (null: all of these).
WITH own AS MATERIALIZED (
    SELECT DISTINCT participant FROM site
     WHERE $4::integer[] IS NOT NULL AND id = ANY ($4::integer[]) AND ($5::integer IS NULL OR participant = $5::integer)
    UNION
    SELECT $5::integer WHERE $4::integer[] IS NULL AND $5::integer IS NOT NULL),
listed AS (
    (SELECT n.* FROM fee_note n
      WHERE $4::integer[] IS NULL AND $5::integer IS NULL AND n.scheme = $1::integer AND n.number :beyond $2::bigint
      ORDER BY n.number :onward LIMIT $3::integer)
    UNION ALL
    (SELECT n.* FROM own
      CROSS JOIN LATERAL (SELECT * FROM fee_note f
                           WHERE f.scheme = $1::integer AND f.participant = own.participant AND f.number :beyond $2::bigint
                           ORDER BY f.number :onward LIMIT $3::integer) AS n
      ORDER BY n.number :onward LIMIT $3::integer))
SELECT json_build_object(
           'scheme', c.code, 'number', n.number, 'month', to_char(n.business_date, 'YYYY-MM'), 'participant', p.code, 'name', n.name,
           'currency', c.currency, 'charged', amount_text(t.charged_amount + t.charged_tax, c.decimals),
           'granted', amount_text(t.granted_amount + t.granted_tax, c.decimals),
           'balance', amount_text(t.charged_amount + t.charged_tax - t.granted_amount - t.granted_tax, c.decimals)),
       n.number
  FROM listed n
  JOIN scheme c ON c.id = n.scheme
  JOIN participant p ON p.id = n.participant
 CROSS JOIN LATERAL (SELECT * FROM fee_note_sum t WHERE t.scheme = n.scheme AND t.number = n.number OFFSET 0) AS t
 ORDER BY n.number :onward
