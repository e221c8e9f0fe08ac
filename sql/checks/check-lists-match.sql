-- Check: the lists of open things, of proposals, of payments in transit and of requested shipments, the counts of
-- payments by day, and the sums of shipments follow from the rows that they are made from. $1 scheme.
WITH opened AS (
    SELECT x.entry, x.position, x.kind, x.site, x.cup_type FROM exception x
     WHERE x.scheme = $1::integer
       AND NOT EXISTS (SELECT FROM exception_resolution z WHERE z.scheme = x.scheme AND z.entry = x.entry AND z.position = x.position)),
opened_lines AS (SELECT line, statement FROM bank_line_shown WHERE scheme = $1::integer AND open),
counted AS (
    SELECT business_date, participant, count(*) AS payments, sum(amount) AS paid FROM payment_side WHERE scheme = $1::integer GROUP BY 1, 2),
moving AS (
    SELECT payment_id, sum(moved) AS moved FROM bank_side WHERE scheme = $1::integer GROUP BY 1 HAVING sum(moved) <> 0),
proposed AS (
    SELECT DISTINCT s AS scheme, p.number, coalesce(d.decision, 'open') AS status
      FROM proposal p LEFT JOIN proposal_decision d ON d.proposal = p.number CROSS JOIN unnest(0 || p.schemes) AS s
     WHERE s = $1::integer OR s = 0 AND $1::integer = (SELECT min(id) FROM scheme)),
moved AS (
    SELECT d.shipment, d.dispatch, d.stands, t.sender, t.receiver, t.cup_type, t.damaged, t.sent, t.received, t.lost,
           greatest(t.sent - t.received - t.lost, 0) AS missing
      FROM shipment_dispatch d JOIN transfer t USING (scheme, dispatch) WHERE d.scheme = $1::integer),
moved_whole AS (
    SELECT shipment, dispatch, sender, receiver, max(stands) AS stands,
           CASE WHEN sum(missing) > 0 THEN CASE WHEN sum(received + lost) > 0 THEN 'short' ELSE 'on_road' END END AS should
      FROM moved GROUP BY 1, 2, 3, 4),
examined AS (
    SELECT format('exception %s.%s is open, or listed as open, but not both', entry, position) AS what,
           o.entry IS NULL OR l.entry IS NULL AS is_broken
      FROM (SELECT entry, position FROM exception_open WHERE scheme = $1::integer) l FULL JOIN opened o USING (entry, position)
    UNION ALL
    SELECT format('the count of exception %s.%s is open, or listed as open, but not both', entry, position),
           (o.site, o.cup_type) IS DISTINCT FROM (l.site, l.cup_type)
      FROM (SELECT entry, position, site, cup_type FROM count_off_open WHERE scheme = $1::integer) l
      FULL JOIN (SELECT * FROM opened WHERE kind = 'count_off') o USING (entry, position)
    UNION ALL
    SELECT format('bank line %s is open, or listed as open, but not both', line),
           o.line IS NULL OR l.line IS NULL OR o.statement <> l.statement
      FROM (SELECT line, statement FROM bank_line_open WHERE scheme = $1::integer) l FULL JOIN opened_lines o USING (line)
    UNION ALL
    SELECT format('payments of %s are not counted as they are', business_date),
           (c.payments, c.paid) IS DISTINCT FROM (d.payments, d.paid::numeric)
      FROM (SELECT business_date, participant, payments, paid FROM payment_day WHERE scheme = $1::integer) d
      FULL JOIN counted c USING (business_date, participant)
    UNION ALL
    SELECT format('payment %s is in transit at the bank, or listed so, but not both', payment_id),
           t.moved IS DISTINCT FROM m.moved
      FROM (SELECT payment_id, moved FROM bank_transit WHERE scheme = $1::integer) t FULL JOIN moving m USING (payment_id)
    UNION ALL
    SELECT 'payments by hand from before the first statement are not the sum of theirs',
           b.amount <> (SELECT coalesce(sum(t.moved * e.effect), 0)
                          FROM bank_transit t JOIN bank_effect e USING (scheme, payment_id) WHERE t.scheme = $1::integer AND t.is_before)
      FROM bank_before b WHERE b.scheme = $1::integer
    UNION ALL
    SELECT format('shipment %s stands in list %s, or should, but not both', number, list), l.list_again IS DISTINCT FROM p.list_again
      FROM (SELECT site, list, list AS list_again, number FROM shipment_listed WHERE scheme = $1::integer) l
      FULL JOIN (SELECT DISTINCT site, list, list AS list_again, number FROM shipment_place WHERE scheme = $1::integer) p
           USING (site, list, number)
    UNION ALL
    SELECT format('shipment %s is not summed as its dispatches moved', shipment),
           (k.sent, k.received, k.lost, k.missing) IS DISTINCT FROM (m.sent::bigint, m.received::bigint, m.lost::bigint, m.missing::bigint)
      FROM (SELECT * FROM shipment_sum WHERE scheme = $1::integer) k
      FULL JOIN (SELECT shipment, sender, receiver, cup_type, damaged, sum(sent) AS sent, sum(received) AS received,
                        sum(lost) AS lost, sum(missing) AS missing FROM moved GROUP BY 1, 2, 3, 4, 5) m
           USING (shipment, sender, receiver, cup_type, damaged)
    UNION ALL
    SELECT format('the dispatch of entry %s is not said to stand as it does', dispatch), stands IS DISTINCT FROM should FROM moved_whole
    UNION ALL
    SELECT format('shipment %s is not said to stand as its dispatches do', shipment),
           (coalesce(k.on_road, 0), coalesce(k.short, 0)) <> (coalesce(m.on_road, 0), coalesce(m.short, 0))
      FROM (SELECT * FROM shipment_stands WHERE scheme = $1::integer) k
      FULL JOIN (SELECT shipment, sender, receiver, count(*) FILTER (WHERE should = 'on_road') AS on_road,
                        count(*) FILTER (WHERE should = 'short') AS short FROM moved_whole GROUP BY 1, 2, 3) m
           USING (shipment, sender, receiver)
    UNION ALL
    SELECT format('proposal %s is not listed as it stands', number), (l.status, l.scheme) IS DISTINCT FROM (p.status, p.scheme)
      FROM (SELECT * FROM proposal_listed WHERE scheme = $1::integer OR scheme = 0 AND $1::integer = (SELECT min(id) FROM scheme)) l
      FULL JOIN proposed p USING (scheme, number))
SELECT count(*), count(*) FILTER (WHERE is_broken), first_lines(array_agg(what ORDER BY what) FILTER (WHERE is_broken)) FROM examined
