-- Resolves what receipts of the dispatches $2 of scheme $1 were short of, where nothing is missing any more or where a later
-- receipt says anew what is missing. $3: now.
INSERT INTO exception_resolution (scheme, entry, position, resolved_at, by_entry, note)
SELECT x.scheme, x.entry, x.position, $3::timestamptz, later.entry,
       CASE WHEN missing.cups > 0 THEN 'a later receipt says what is missing' ELSE 'the dispatch is complete' END
  FROM unnest($2::bigint[]) AS d(dispatch)
  JOIN entry_reference r ON r.scheme = $1::integer AND r.referred = d.dispatch
  JOIN exception x ON x.scheme = r.scheme AND x.entry = r.entry AND x.kind = 'receipt_short'
                  AND NOT EXISTS (SELECT FROM exception_resolution z
                                   WHERE z.scheme = x.scheme AND z.entry = x.entry AND z.position = x.position)
 CROSS JOIN LATERAL (SELECT max(l.entry) AS entry FROM entry_reference l
                      WHERE l.scheme = r.scheme AND l.referred = d.dispatch) later
 CROSS JOIN LATERAL (SELECT coalesce(sum(greatest(t.sent - t.received - t.lost, 0)), 0) AS cups FROM transfer t
                      WHERE t.scheme = r.scheme AND t.dispatch = d.dispatch AND t.cup_type = x.cup_type) missing
 WHERE later.entry > x.entry
   AND (missing.cups = 0
        OR EXISTS (SELECT FROM entry_reference n
                     JOIN exception y ON y.scheme = n.scheme AND y.entry = n.entry AND y.kind = 'receipt_short'
                    WHERE n.scheme = r.scheme AND n.referred = d.dispatch AND n.entry > x.entry
                      AND y.cup_type = x.cup_type))
    ON CONFLICT DO NOTHING
