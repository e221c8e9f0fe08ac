-- A scheme's refund values as JSON, each with the key that slices go by. $1: {scheme, cup type and effective date or
-- nulls for all}; $2: the key to begin after; $3: the most rows; null: no such bound. The reader: $4 its sites, null:
-- not a till; $5 its participant, null: not one.
SELECT json_build_object('cup_type', u.code, 'effective_date', v.effective_date, 'amount', amount_text(v.amount, c.decimals)),
       key
  FROM refund_value v JOIN scheme c ON c.id = v.scheme JOIN cup_type u ON u.id = v.cup_type,
       concat(u.code, '/', v.effective_date) AS key
 WHERE c.code = ($1::text[])[1]
   AND (($1::text[])[2] IS NULL OR key = concat(($1::text[])[2], '/', ($1::text[])[3]))
   AND key COLLATE "C" > coalesce($2::text, '')
   AND (($4::integer[] IS NULL AND $5::integer IS NULL)
        OR c.id IN (SELECT s.scheme FROM site s WHERE s.id = ANY ($4::integer[])
                    UNION ALL
                    SELECT s.scheme FROM site s WHERE s.participant = $5::integer))
 ORDER BY key COLLATE "C" LIMIT $3::bigint
