-- A slice of the changes of reference data and keys as JSON, each with its number: of what changed, the
-- members that differ; all members if the thing is new or gone. $1: of this scheme, null: all; $2: beyond this
-- number; $3: at most so many; null or: $4 of this kind, $5 by this key or holder, $6 from this day, $7 to
-- this day, in UTC.
SELECT jsonb_strip_nulls(jsonb_build_object(
           'number', c.number, 'changed_at', instant_text(c.changed_at), 'way', c.way,
           'by', CASE WHEN k.id IS NOT NULL THEN jsonb_build_object('key', k.name, 'holder', k.holder) END,
           'of', c.of_what, 'name', c.name, 'scheme', s.code,
           'why', c.why, 'proposal', c.proposal, 'digest', encode(c.digest, 'hex')))
       || CASE WHEN c.before IS NULL THEN '{}' ELSE jsonb_build_object('before', (
              SELECT coalesce(jsonb_object_agg(m.key, m.value), '{}') FROM jsonb_each(c.before) AS m
               WHERE m.value IS DISTINCT FROM c.after -> m.key)) END
       || CASE WHEN c.after IS NULL THEN '{}' ELSE jsonb_build_object('after', (
              SELECT coalesce(jsonb_object_agg(m.key, m.value), '{}') FROM jsonb_each(c.after) AS m
               WHERE m.value IS DISTINCT FROM c.before -> m.key)) END,
       c.number
  FROM (SELECT * FROM reference_change c
         WHERE ($1::integer IS NULL OR c.scheme = $1::integer) AND c.number :beyond $2::bigint
           AND ($4::text IS NULL OR c.of_what = $4::text)
           AND ($5::text IS NULL
                OR c.api_key IN (SELECT b.id FROM api_key b WHERE b.name = $5::text OR lower(b.holder) = lower($5::text)))
           AND ($6::date IS NULL OR c.changed_at >= $6::date::timestamp AT TIME ZONE 'UTC')
           AND ($7::date IS NULL OR c.changed_at < ($7::date + 1)::timestamp AT TIME ZONE 'UTC')
         ORDER BY c.number :onward LIMIT $3::integer) AS c
  LEFT JOIN api_key k ON k.id = c.api_key
  LEFT JOIN scheme s ON s.id = c.scheme
 ORDER BY c.number :onward
