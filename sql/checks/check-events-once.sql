-- Check: every event is in the ledger exactly once, under its id and with its digest, and refers to the event
-- that it names, if that is of the same scheme. $1 scheme.
WITH stated AS (
    SELECT entry, kind, (event::json ->> 'event_id')::uuid AS event_id,
           substring(sha256(convert_to(event, 'UTF8')) FOR 16) AS digest,
           CASE WHEN event::json ->> 'host' IS NULL
                THEN coalesce(event::json ->> 'dispatch', event::json ->> 'reverses')::uuid END AS refers
      FROM entry WHERE scheme = $1::integer AND event IS NOT NULL
    UNION ALL -- the shipments of an opening have ids of their own, which receipts and losses name
    SELECT e.entry, NULL, (line ->> 'dispatch')::uuid, substring(sha256(convert_to(e.event, 'UTF8')) FOR 16), NULL
      FROM entry e CROSS JOIN LATERAL json_array_elements(e.event::json -> 'shipments') AS line
     WHERE e.scheme = $1::integer AND e.kind = :kind_opening),
referring AS (
    SELECT s.entry, s.kind, coalesce(h.number, i.entry) AS referred
      FROM stated s
      LEFT JOIN event_id i ON i.scheme = $1::integer AND i.event_id = s.refers
      LEFT JOIN shipment h ON h.scheme = i.scheme AND h.event_id = i.event_id
     WHERE refers IS NOT NULL),
examined AS (
    SELECT coalesce(s.event_id, i.event_id)::text || ' is not exactly one entry' AS what,
           s.entry IS NULL OR i.entry IS NULL OR s.digest <> i.digest AS is_broken
      FROM stated s
      FULL JOIN (SELECT event_id, entry, digest FROM event_id WHERE scheme = $1::integer) i USING (event_id, entry)
    UNION ALL
    SELECT format('shipment %s is not exactly one of its opening', coalesce(s.event_id, h.event_id)), s.entry IS NULL OR h.entry IS NULL
      FROM (SELECT entry, event_id FROM stated WHERE kind IS NULL) s
      FULL JOIN (SELECT entry, event_id FROM shipment WHERE scheme = $1::integer) h USING (entry, event_id)
    UNION ALL
    SELECT format('entry %s does not refer to what its event names', entry),
           s.referred IS NULL OR s.referred IS DISTINCT FROM r.referred OR s.kind IS DISTINCT FROM r.kind
      FROM referring s
      FULL JOIN (SELECT entry, referred, kind FROM entry_reference WHERE scheme = $1::integer AND kind <> :kind_reversal_abroad) r USING (entry))
SELECT count(*), count(*) FILTER (WHERE is_broken),
       first_lines(array_agg(what ORDER BY what) FILTER (WHERE is_broken))
  FROM examined
