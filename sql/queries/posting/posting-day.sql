-- The business day of scheme $1 to which a return at instant $2 posts by now, and whether the scheme had begun by
-- then: the earliest open day that has not ended by then, or, if none reaches as far yet, the last one.
SELECT coalesce((SELECT d.business_date FROM business_day d
                  WHERE d.scheme = $1::integer AND d.state <> 'closed' AND d.state = 'open' AND d.ends_at > $2::timestamptz
                  ORDER BY d.business_date LIMIT 1),
                (SELECT max(d.business_date) FROM business_day d WHERE d.scheme = $1)),
       EXISTS (SELECT FROM business_day d WHERE d.scheme = $1 AND d.starts_at <= $2)
