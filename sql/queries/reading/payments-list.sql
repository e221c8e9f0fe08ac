-- A slice of a scheme's payments, each as JSON, by day and id. $1 scheme, beyond $2 (day/id; null: from the first), at
-- most $3; null where there is no such filter: $4 status, $5 whether it is held and not released, $6 the participant
-- that pays or is paid, $7 first and $8 last business day, $9 whether it is neither confirmed nor failed, $10 the side
-- that the participant is on, payer or payee, $11 whether it is to another scheme's pool (a participant has none). The
-- filter that leaves the fewest chooses the part, and each part has an index in the order of the list; the other parts
-- read nothing. The parts repeat the common conditions, the order and the limit, because PostgreSQL 15 has no other
-- way to keep the plans: around all parts, they make it sort a whole part, or read the scheme's list and filter it.
WITH asked AS MATERIALIZED (
    SELECT CASE WHEN is_within THEN given.day WHEN :newest_first THEN last_day + 1 ELSE first_day END AS start_day,
           CASE WHEN is_within THEN given.id ELSE '' END AS start_id,
           CASE WHEN :newest_first THEN first_day ELSE last_day END AS end_day,
           CASE WHEN $6::integer IS NOT NULL THEN 'party' WHEN $5::boolean THEN 'held'
                WHEN $4::text IS NOT NULL THEN 'status' WHEN $9::boolean THEN 'waiting' ELSE 'all' END AS way
      FROM (SELECT split_part($2::text, '/', 1)::date AS day, split_part($2::text, '/', 2) AS id) AS given
     CROSS JOIN (SELECT coalesce($7::date, '-infinity') AS first_day, coalesce($8::date, 'infinity') AS last_day) AS span
     CROSS JOIN LATERAL (SELECT CASE WHEN :newest_first THEN given.day <= last_day ELSE given.day >= first_day END AS is_within) AS its),
slice AS (
    SELECT business_date, payment_id FROM (
    SELECT listed.* FROM asked CROSS JOIN LATERAL (
           SELECT p.business_date, p.payment_id FROM payment p
            WHERE p.scheme = $1::integer AND ($5::boolean IS NULL OR (p.held IS NOT NULL AND NOT p.released) = $5)
              AND ($9::boolean IS NULL OR (p.status IN ('confirmed', 'failed')) IS DISTINCT FROM $9)
              AND (p.business_date, p.payment_id COLLATE "C") :beyond (start_day, start_id COLLATE "C")
              AND p.business_date :until end_day
            ORDER BY p.business_date :onward, p.payment_id COLLATE "C" :onward LIMIT $3::bigint) AS listed
     WHERE way = 'all' AND $11::boolean IS NOT TRUE
    UNION ALL
    SELECT listed.* FROM asked CROSS JOIN LATERAL (
           SELECT p.business_date, p.payment_id FROM payment p
            WHERE p.scheme = $1::integer AND p.status = $4::text
              AND ($5::boolean IS NULL OR (p.held IS NOT NULL AND NOT p.released) = $5)
              AND ($9::boolean IS NULL OR (p.status IN ('confirmed', 'failed')) IS DISTINCT FROM $9)
              AND (p.business_date, p.payment_id COLLATE "C") :beyond (start_day, start_id COLLATE "C")
              AND p.business_date :until end_day
            ORDER BY p.business_date :onward, p.payment_id COLLATE "C" :onward LIMIT $3::bigint) AS listed
     WHERE way = 'status' AND $11::boolean IS NOT TRUE
    UNION ALL
    SELECT listed.* FROM asked CROSS JOIN LATERAL (
           SELECT p.business_date, p.payment_id FROM payment p
            WHERE p.scheme = $1::integer AND p.held IS NOT NULL AND NOT p.released AND ($4::text IS NULL OR p.status = $4)
              AND ($9::boolean IS NULL OR (p.status IN ('confirmed', 'failed')) IS DISTINCT FROM $9)
              AND (p.business_date, p.payment_id COLLATE "C") :beyond (start_day, start_id COLLATE "C")
              AND p.business_date :until end_day
            ORDER BY p.business_date :onward, p.payment_id COLLATE "C" :onward LIMIT $3::bigint) AS listed
     WHERE way = 'held' AND $11::boolean IS NOT TRUE
    UNION ALL
    SELECT listed.* FROM asked CROSS JOIN LATERAL (
           SELECT p.business_date, p.payment_id FROM payment p
            WHERE p.scheme = $1::integer AND p.payer = $6::integer AND $10::text IS DISTINCT FROM 'payee' AND ($4::text IS NULL OR p.status = $4)
              AND ($5::boolean IS NULL OR (p.held IS NOT NULL AND NOT p.released) = $5)
              AND ($9::boolean IS NULL OR (p.status IN ('confirmed', 'failed')) IS DISTINCT FROM $9)
              AND (p.business_date, p.payment_id COLLATE "C") :beyond (start_day, start_id COLLATE "C")
              AND p.business_date :until end_day
            ORDER BY p.business_date :onward, p.payment_id COLLATE "C" :onward LIMIT $3::bigint) AS listed
     WHERE way = 'party' AND $11::boolean IS NOT TRUE
    UNION ALL
    SELECT listed.* FROM asked CROSS JOIN LATERAL (
           SELECT p.business_date, p.payment_id FROM payment p
            WHERE p.scheme = $1::integer AND p.payee = $6::integer AND $10::text IS DISTINCT FROM 'payer' AND ($4::text IS NULL OR p.status = $4)
              AND ($5::boolean IS NULL OR (p.held IS NOT NULL AND NOT p.released) = $5)
              AND ($9::boolean IS NULL OR (p.status IN ('confirmed', 'failed')) IS DISTINCT FROM $9)
              AND (p.business_date, p.payment_id COLLATE "C") :beyond (start_day, start_id COLLATE "C")
              AND p.business_date :until end_day
            ORDER BY p.business_date :onward, p.payment_id COLLATE "C" :onward LIMIT $3::bigint) AS listed
     WHERE way = 'party' AND $11::boolean IS NOT TRUE
    UNION ALL
    SELECT listed.* FROM asked CROSS JOIN unnest(ARRAY['computed', 'approved', 'instructed']) AS waits(status) CROSS JOIN LATERAL (
           SELECT p.business_date, p.payment_id FROM payment p
            WHERE p.scheme = $1::integer AND p.status = waits.status
              AND ($5::boolean IS NULL OR (p.held IS NOT NULL AND NOT p.released) = $5)
              AND (p.business_date, p.payment_id COLLATE "C") :beyond (start_day, start_id COLLATE "C")
              AND p.business_date :until end_day
            ORDER BY p.business_date :onward, p.payment_id COLLATE "C" :onward LIMIT $3::bigint) AS listed
     WHERE way = 'waiting' AND $11::boolean IS NOT TRUE
    UNION ALL
    SELECT listed.* FROM asked CROSS JOIN LATERAL (
           SELECT p.business_date, p.payment_id FROM pool_payment p
            WHERE p.scheme = $1::integer AND ($5::boolean IS NULL OR NOT p.released = $5)
              AND ($9::boolean IS NULL OR (p.status IN ('confirmed', 'failed')) IS DISTINCT FROM $9)
              AND (p.business_date, p.payment_id COLLATE "C") :beyond (start_day, start_id COLLATE "C")
              AND p.business_date :until end_day
            ORDER BY p.business_date :onward, p.payment_id COLLATE "C" :onward LIMIT $3::bigint) AS listed
     WHERE way = 'all' AND $11::boolean IS NOT FALSE
    UNION ALL
    SELECT listed.* FROM asked CROSS JOIN LATERAL (
           SELECT p.business_date, p.payment_id FROM pool_payment p
            WHERE p.scheme = $1::integer AND p.status = $4::text
              AND ($5::boolean IS NULL OR NOT p.released = $5)
              AND ($9::boolean IS NULL OR (p.status IN ('confirmed', 'failed')) IS DISTINCT FROM $9)
              AND (p.business_date, p.payment_id COLLATE "C") :beyond (start_day, start_id COLLATE "C")
              AND p.business_date :until end_day
            ORDER BY p.business_date :onward, p.payment_id COLLATE "C" :onward LIMIT $3::bigint) AS listed
     WHERE way = 'status' AND $11::boolean IS NOT FALSE
    UNION ALL
    SELECT listed.* FROM asked CROSS JOIN LATERAL (
           SELECT p.business_date, p.payment_id FROM pool_payment p
            WHERE p.scheme = $1::integer AND NOT p.released AND ($4::text IS NULL OR p.status = $4)
              AND ($9::boolean IS NULL OR (p.status IN ('confirmed', 'failed')) IS DISTINCT FROM $9)
              AND (p.business_date, p.payment_id COLLATE "C") :beyond (start_day, start_id COLLATE "C")
              AND p.business_date :until end_day
            ORDER BY p.business_date :onward, p.payment_id COLLATE "C" :onward LIMIT $3::bigint) AS listed
     WHERE way = 'held' AND $11::boolean IS NOT FALSE
    UNION ALL
    SELECT listed.* FROM asked CROSS JOIN unnest(ARRAY['computed', 'approved', 'instructed']) AS waits(status) CROSS JOIN LATERAL (
           SELECT p.business_date, p.payment_id FROM pool_payment p
            WHERE p.scheme = $1::integer AND p.status = waits.status
              AND ($5::boolean IS NULL OR NOT p.released = $5)
              AND (p.business_date, p.payment_id COLLATE "C") :beyond (start_day, start_id COLLATE "C")
              AND p.business_date :until end_day
            ORDER BY p.business_date :onward, p.payment_id COLLATE "C" :onward LIMIT $3::bigint) AS listed
     WHERE way = 'waiting' AND $11::boolean IS NOT FALSE
    ) AS part ORDER BY business_date :onward, payment_id COLLATE "C" :onward LIMIT $3::bigint)
SELECT json_strip_nulls(json_build_object(
           'payment_id', p.payment_id, 'scheme', s.code, 'date', p.business_date, 'from', coalesce(f.code, 'pool'),
           'to', coalesce(t.code, 'pool/' || h.code, 'pool'), 'amount', amount_text(p.amount, s.decimals),
           'agreed', CASE WHEN h.id IS NOT NULL THEN json_build_object('amount', amount_text(p.agreed, c.decimals),
                                                                       'currency', c.currency) END, 'currency', s.currency, 'due_on', p.due_on,
           'status', p.status,
           'held', CASE WHEN p.held IS NOT NULL THEN json_build_object('reason', p.held, 'released', p.released) END,
           'approvals', (SELECT count(*) FROM payment_change c
                          WHERE (c.scheme, c.payment_id) = (p.scheme, p.payment_id) AND c.change = 'approve'))),
       p.business_date || '/' || p.payment_id
  FROM slice
 CROSS JOIN LATERAL (
       SELECT scheme, payment_id, business_date, payer, payee, amount, due_on, status, held, released, NULL::integer AS host,
              NULL::bigint AS agreed, NULL::integer AS agreed_of
         FROM payment WHERE scheme = $1::integer AND payment_id = slice.payment_id
       UNION ALL
       SELECT scheme, payment_id, business_date, NULL, NULL, amount, due_on, status, 'between_schemes', released, host, agreed,
              CASE WHEN in_host_currency THEN host ELSE scheme END
         FROM pool_payment WHERE scheme = $1::integer AND payment_id = slice.payment_id) AS p
  JOIN scheme s ON s.id = p.scheme
  LEFT JOIN scheme h ON h.id = p.host
  LEFT JOIN scheme c ON c.id = p.agreed_of
  LEFT JOIN participant f ON f.id = p.payer
  LEFT JOIN participant t ON t.id = p.payee
 ORDER BY p.business_date :onward, p.payment_id COLLATE "C" :onward
