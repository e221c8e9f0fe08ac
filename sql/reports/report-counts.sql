-- When each site was counted last, of the open ones that have done something since then, those that stand longest
-- first. A site that was never counted stands since its first day. $1 scheme, $2 only sites that nobody has counted
-- since this day (null: all), $3 1: but a site that says how often it is counted, if these days are over (null: $2
-- holds for all sites).
WITH site_count AS (
    SELECT t.code, t.count_days, counted.business_date AS counted_on, counted.entry, today.business_date AS today,
           coalesce(counted.business_date, begun.business_date) AS since
      FROM site t
     CROSS JOIN LATERAL (SELECT d.business_date FROM business_day d WHERE d.scheme = $1::integer AND d.starts_at <= now()
                          ORDER BY d.business_date DESC LIMIT 1) AS today
     CROSS JOIN LATERAL (SELECT d.business_date FROM site_day d WHERE d.site = t.id ORDER BY d.business_date LIMIT 1) AS begun
      LEFT JOIN LATERAL (
           SELECT e.business_date, e.entry FROM entry e
            WHERE e.site = t.id AND e.kind = :kind_count
              AND NOT EXISTS (SELECT FROM entry_reference r
                               WHERE r.scheme = $1::integer AND r.referred = e.entry AND r.kind = :kind_reversal)
            ORDER BY e.entry DESC LIMIT 1) AS counted ON true
     WHERE t.scheme = $1::integer AND t.opened_on <= today.business_date
       AND (t.closed_on IS NULL OR t.closed_on >= today.business_date)
       AND EXISTS (SELECT FROM site_day d WHERE d.site = t.id AND d.business_date > coalesce(counted.business_date, '-infinity')
                  OFFSET 0))
SELECT code, counted_on, entry, since, today - since, count_days, since + count_days
  FROM site_count
 WHERE CASE WHEN $3::integer = 1 AND count_days IS NOT NULL THEN since < today - count_days
            ELSE $2::date IS NULL OR since < $2 END
 ORDER BY since, code COLLATE "C"
