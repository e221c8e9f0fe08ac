-- A slice of the changes of reference data and keys as JSON, each with its number: of what changed, the
-- members that differ; all members if the thing is new or gone. $1: of this scheme, null: all; $2: beyond this
-- number; $3: at most so many; null or: $4 of this kind, $5 by this key or holder, $6 from this day, $7 to
-- this day, in UTC. Each part reads an index in the order of numbers, and all but one read nothing. Days
-- become numbers: the clocks of two instances may differ, but a thousand changes are not made meanwhile.
WITH days AS (
    SELECT CASE WHEN $6::date IS NOT NULL THEN coalesce(
               (SELECT c.number FROM reference_change c WHERE c.changed_at >= $6::date::timestamp AT TIME ZONE 'UTC'
                 ORDER BY c.changed_at, c.number LIMIT 1), (SELECT max(number) FROM reference_change)) - 1000
                ELSE -1 END AS after,
           CASE WHEN $7::date IS NOT NULL THEN coalesce(
               (SELECT c.number FROM reference_change c WHERE c.changed_at < ($7::date + 1)::timestamp AT TIME ZONE 'UTC'
                 ORDER BY c.changed_at DESC, c.number DESC LIMIT 1), 0) + 1000
                ELSE 9223372036854775807 END AS through),
span AS (
    SELECT CASE WHEN :newest_first THEN after ELSE greatest($2::bigint, after) END AS after,
           CASE WHEN :newest_first THEN least($2::bigint - 1, through) ELSE through END AS through
      FROM days),
slice AS (
    (SELECT c.number FROM reference_change c
      WHERE $5::text IS NULL AND $4::text IS NULL AND $1::integer IS NULL
        AND c.number > (SELECT after FROM span)
        AND c.number <= (SELECT through FROM span)
        AND ($6::date IS NULL OR c.changed_at >= $6::date::timestamp AT TIME ZONE 'UTC')
        AND ($7::date IS NULL OR c.changed_at < ($7::date + 1)::timestamp AT TIME ZONE 'UTC')
      ORDER BY c.number :onward LIMIT $3::integer)
    UNION ALL
    (SELECT c.number FROM reference_change c
      WHERE $5::text IS NULL AND $4::text IS NULL AND $1::integer IS NOT NULL
        AND (c.scheme, c.number) > ($1::integer, (SELECT after FROM span))
        AND (c.scheme, c.number) <= ($1::integer, (SELECT through FROM span))
        AND ($6::date IS NULL OR c.changed_at >= $6::date::timestamp AT TIME ZONE 'UTC')
        AND ($7::date IS NULL OR c.changed_at < ($7::date + 1)::timestamp AT TIME ZONE 'UTC')
      ORDER BY c.scheme :onward, c.number :onward LIMIT $3::integer)
    UNION ALL
    (SELECT c.number FROM reference_change c
      WHERE $5::text IS NULL AND $4::text IS NOT NULL AND $1::integer IS NULL
        AND (c.of_what, c.number) > ($4::text, (SELECT after FROM span))
        AND (c.of_what, c.number) <= ($4::text, (SELECT through FROM span))
        AND ($6::date IS NULL OR c.changed_at >= $6::date::timestamp AT TIME ZONE 'UTC')
        AND ($7::date IS NULL OR c.changed_at < ($7::date + 1)::timestamp AT TIME ZONE 'UTC')
      ORDER BY c.of_what :onward, c.number :onward LIMIT $3::integer)
    UNION ALL
    (SELECT c.number FROM reference_change c
      WHERE $5::text IS NULL AND $4::text IS NOT NULL AND $1::integer IS NOT NULL
        AND (c.scheme, c.of_what, c.number) > ($1::integer, $4::text, (SELECT after FROM span))
        AND (c.scheme, c.of_what, c.number) <= ($1::integer, $4::text, (SELECT through FROM span))
        AND ($6::date IS NULL OR c.changed_at >= $6::date::timestamp AT TIME ZONE 'UTC')
        AND ($7::date IS NULL OR c.changed_at < ($7::date + 1)::timestamp AT TIME ZONE 'UTC')
      ORDER BY c.scheme :onward, c.of_what :onward, c.number :onward LIMIT $3::integer)
    UNION ALL
    (SELECT c.number
       FROM api_key b
      CROSS JOIN LATERAL (
           SELECT c.number FROM reference_change c
            WHERE (c.api_key, c.number) > (b.id, (SELECT after FROM span))
              AND (c.api_key, c.number) <= (b.id, (SELECT through FROM span))
              AND ($1::integer IS NULL OR c.scheme = $1::integer) AND ($4::text IS NULL OR c.of_what = $4::text)
              AND ($6::date IS NULL OR c.changed_at >= $6::date::timestamp AT TIME ZONE 'UTC')
              AND ($7::date IS NULL OR c.changed_at < ($7::date + 1)::timestamp AT TIME ZONE 'UTC')
            ORDER BY c.api_key :onward, c.number :onward LIMIT $3::integer) AS c
      WHERE $5::text IS NOT NULL AND (b.name = $5::text OR lower(b.holder) = lower($5::text))
      ORDER BY c.number :onward LIMIT $3::integer))
SELECT jsonb_strip_nulls(jsonb_build_object(
           'number', c.number, 'changed_at', instant_text(c.changed_at), 'way', c.way,
           'by', CASE WHEN k.id IS NOT NULL THEN jsonb_build_object('key', k.name, 'holder', k.holder) END,
           'of', c.of_what, 'name', c.name, 'scheme', h.code,
           'why', c.why, 'proposal', c.proposal, 'digest', encode(c.digest, 'hex')))
       || CASE WHEN c.before IS NULL THEN '{}' ELSE jsonb_build_object('before', (
              SELECT coalesce(jsonb_object_agg(m.key, m.value), '{}') FROM jsonb_each(c.before) AS m
               WHERE m.value IS DISTINCT FROM c.after -> m.key)) END
       || CASE WHEN c.after IS NULL THEN '{}' ELSE jsonb_build_object('after', (
              SELECT coalesce(jsonb_object_agg(m.key, m.value), '{}') FROM jsonb_each(c.after) AS m
               WHERE m.value IS DISTINCT FROM c.before -> m.key)) END,
       c.number
  FROM (SELECT number FROM slice ORDER BY number :onward LIMIT $3::integer) AS s
  JOIN reference_change c ON c.number = s.number
  LEFT JOIN api_key k ON k.id = c.api_key
  LEFT JOIN scheme h ON h.id = c.scheme
 ORDER BY c.number :onward
