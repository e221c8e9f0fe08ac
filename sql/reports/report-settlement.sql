-- The settlement of a close: a line per participant and site, then the participant's own with its arrears and
-- its position, so that each column adds up. $1 scheme, $2 business day, $3 the sites to show, and their
-- participants (null: all).
WITH line AS (
    SELECT p.code AS participant, s.code AS site,
           coalesce(before.closing, 0) AS brought_forward,
           d.collected, d.refunded, d.fees, d.tax, d.stock, d.other, NULL::bigint AS arrears, NULL::bigint AS position,
           NULL::bigint AS carried, d.site AS id
      FROM site_day d
      JOIN site s ON s.id = d.site
      JOIN participant p ON p.id = s.participant
      LEFT JOIN LATERAL ( -- all days before one that is settled are closed
           SELECT b.closing FROM balance b
            WHERE b.scheme = d.scheme AND b.account = account_of(:account_site_clearing, d.site, 0)
              AND b.business_date < d.business_date
            ORDER BY b.business_date DESC LIMIT 1) AS before ON true
     WHERE d.scheme = $1::integer AND d.business_date = $2::date AND ($3::integer[] IS NULL OR s.id = ANY ($3))
    UNION ALL
    SELECT p.code, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, at.arrears, at.amount,
           CASE WHEN at.carried THEN at.amount ELSE 0 END, NULL
      FROM position at
      JOIN participant p ON p.id = at.participant
     WHERE at.scheme = $1::integer AND at.business_date = $2::date
       AND ($3::integer[] IS NULL OR p.id IN (SELECT participant FROM site WHERE id = ANY ($3))))
SELECT line.participant, line.site, amount_text(brought_forward, decimals), amount_text(collected, decimals),
       amount_text(refunded, decimals), amount_text(fees, decimals), amount_text(tax, decimals), amount_text(stock, decimals),
       amount_text(other, decimals),
       amount_text(brought_forward + collected - refunded + fees + tax + stock + other, decimals),
       amount_text(arrears, decimals), amount_text(position, decimals), amount_text(carried, decimals),
       CASE WHEN line.site IS NULL AND NOT pays_on($1::integer, $2::date) THEN next_pay_day($1::integer, $2::date) END,
       amount_text(f.service_fee, decimals), amount_text(f.service_tax, decimals), amount_text(f.handling_fee, decimals),
       amount_text(f.handling_tax, decimals), amount_text(f.standing_fee, decimals), amount_text(f.standing_tax, decimals)
  FROM line CROSS JOIN scheme
  LEFT JOIN LATERAL (SELECT * FROM fee_day d WHERE d.scheme = $1::integer AND d.business_date = $2::date AND d.site = line.id) f ON true
 WHERE scheme.id = $1::integer
   AND EXISTS (SELECT FROM settlement s WHERE s.scheme = $1::integer AND s.business_date = $2::date)
 ORDER BY line.participant COLLATE "C", line.site COLLATE "C" NULLS LAST
