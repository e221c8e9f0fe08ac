-- Resolves the shortages of the dispatches $2 of the schemes $1, those of receipts and those that reversals of receipts
-- and losses left, where nothing is missing any more or where a later entry states anew the missing cups. $3: now. They
-- stand in the scheme of the receiver, of cups that were sent home in another one than the dispatch.
WITH about AS (
    SELECT d.scheme AS sent_in, d.dispatch, r.scheme, a.entry
      FROM unnest($1::integer[], $2::bigint[]) AS d(scheme, dispatch)
     CROSS JOIN LATERAL (
           SELECT k.scheme, k.entry FROM entry_reference k WHERE k.scheme = d.scheme AND k.referred = d.dispatch
           UNION ALL
           SELECT h.scheme, h.entry FROM host_dispatch h WHERE h.host = d.scheme AND h.dispatch = d.dispatch) r
     CROSS JOIN LATERAL (
           SELECT r.entry
           UNION ALL
           SELECT u.entry FROM entry_reference u WHERE u.scheme = r.scheme AND u.referred = r.entry) a
     GROUP BY 1, 2, 3, 4),
short AS (
    SELECT a.sent_in, a.dispatch, a.scheme, x.entry, x.position, x.cup_type
      FROM about a JOIN exception x ON x.scheme = a.scheme AND x.entry = a.entry AND x.kind = 'receipt_short')
INSERT INTO exception_resolution (scheme, entry, position, resolved_at, by_entry, note)
SELECT s.scheme, s.entry, s.position, $3::timestamptz, later.entry,
       CASE WHEN missing.cups > 0 THEN 'a later entry says what is missing' ELSE 'the dispatch is complete' END
  FROM short s
 CROSS JOIN LATERAL (SELECT max(a.entry) AS entry FROM about a
                      WHERE a.sent_in = s.sent_in AND a.dispatch = s.dispatch AND a.scheme = s.scheme) later
 CROSS JOIN LATERAL (SELECT coalesce(sum(greatest(t.sent - t.received - t.lost, 0)), 0) AS cups FROM transfer t
                      WHERE t.scheme = s.sent_in AND t.dispatch = s.dispatch AND t.cup_type = s.cup_type) missing
 WHERE later.entry > s.entry
   AND NOT EXISTS (SELECT FROM exception_resolution z
                    WHERE z.scheme = s.scheme AND z.entry = s.entry AND z.position = s.position)
   AND (missing.cups = 0
        OR EXISTS (SELECT FROM short y WHERE y.sent_in = s.sent_in AND y.dispatch = s.dispatch AND y.entry > s.entry
                                         AND y.cup_type = s.cup_type))
    ON CONFLICT DO NOTHING
