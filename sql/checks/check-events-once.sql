-- Check: every event is in the ledger exactly once, under its id and with its digest, and refers to the event
-- that it names. $1 scheme.
WITH stated AS (
    SELECT entry, kind, (event::json ->> 'event_id')::uuid AS event_id,
           substring(sha256(convert_to(event, 'UTF8')) FOR 16) AS digest,
           coalesce(event::json ->> 'dispatch', event::json ->> 'reverses')::uuid AS refers
      FROM entry WHERE scheme = $1::integer AND event IS NOT NULL),
referring AS (
    SELECT s.entry, s.kind, i.entry AS referred
      FROM stated s LEFT JOIN event_id i ON i.scheme = $1::integer AND i.event_id = s.refers WHERE refers IS NOT NULL),
examined AS (
    SELECT coalesce(s.event_id, i.event_id)::text || ' is not exactly one entry' AS what,
           s.entry IS NULL OR i.entry IS NULL OR s.digest <> i.digest AS is_broken
      FROM stated s
      FULL JOIN (SELECT event_id, entry, digest FROM event_id WHERE scheme = $1::integer) i USING (event_id, entry)
    UNION ALL
    SELECT format('entry %s does not refer to what its event names', entry),
           s.referred IS NULL OR s.referred IS DISTINCT FROM r.referred OR s.kind IS DISTINCT FROM r.kind
      FROM referring s
      FULL JOIN (SELECT entry, referred, kind FROM entry_reference WHERE scheme = $1::integer) r USING (entry))
SELECT count(*), count(*) FILTER (WHERE is_broken),
       first_lines(array_agg(what ORDER BY what) FILTER (WHERE is_broken))
  FROM examined
