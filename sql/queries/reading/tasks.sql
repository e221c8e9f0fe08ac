-- The tasks of some schemes: how many things wait, their sum in money or cups, and the first day of any of them. $1
-- the schemes, $2 the reader's participant (0: none), $3 its key, $4 the tasks to look for, in their order, $5
-- whether to add up the schemes, by task and currency; at most $6 rows (null: all); $7 days after which a site is to
-- be counted again, unless it says so itself. A slice asks for the schemes after the last one before. Each row has
-- the task, the scheme's code (null: of several, or of none), how many things, the scheme's first day, the first day
-- of the things, the day before which a count is too old, and all as JSON. A task costs a probe of an index in each
-- scheme, or in all, and the things that it counts. Totals that are missing and sites to count cost a probe for each
-- site, and counts to repeat for each exception of a count.
WITH asked AS (SELECT id, place FROM unnest($1::integer[]) WITH ORDINALITY AS a(id, place)),
waits AS (
    SELECT s.id AS scheme, w.*
      FROM asked
      JOIN scheme s ON s.id = asked.id
     CROSS JOIN LATERAL (
           SELECT 'days_not_closed' AS task, count(*) AS how_many, NULL::numeric AS amount, NULL::numeric AS cups,
                  min(d.business_date) AS since
             FROM business_day d
            WHERE 'days_not_closed' = ANY ($4) AND d.scheme = s.id AND d.state <> 'closed'
              AND d.ends_at + make_interval(mins => s.close_after_minutes) <= now()
           UNION ALL -- days of the bank after the closing balance of the last statement
           SELECT 'statements_missing', count(*), NULL, NULL, min(d.business_date)
             FROM (SELECT t.last_day AS day FROM bank_statement t
                    WHERE 'statements_missing' = ANY ($4) AND t.scheme = s.id AND t.closing IS NOT NULL
                    ORDER BY t.last_day DESC LIMIT 1) AS told
             JOIN business_day d ON d.scheme = s.id AND d.business_date > told.day
                                AND d.business_date < (now() AT TIME ZONE s.time_zone)::date
            WHERE extract(isodow FROM d.business_date) < 6 AND d.business_date <> ALL (s.holidays)
           UNION ALL
           SELECT 'bank_lines_open', count(*), sum(l.amount), NULL, min(l.booked_on)
             FROM bank_line_open o JOIN bank_line l ON l.scheme = o.scheme AND l.line = o.line
            WHERE 'bank_lines_open' = ANY ($4) AND o.scheme = s.id
           UNION ALL
           SELECT j.task, count(*), NULL, NULL, min(j.proposed_on)
             FROM (SELECT CASE j.kind WHEN :kind_journal THEN 'journals' ELSE 'openings' END
                          || CASE k.holder WHEN (SELECT holder FROM api_key WHERE id = $3::integer)
                                           THEN '_proposed' ELSE '_to_approve' END AS task,
                          (j.proposed_at AT TIME ZONE s.time_zone)::date AS proposed_on
                     FROM proposed_event j JOIN api_key k ON k.id = j.proposed_by
                    WHERE $4 && ARRAY['openings_to_approve', 'openings_proposed', 'journals_to_approve', 'journals_proposed']
                      AND j.scheme = s.id AND j.status = 'open') AS j
            WHERE j.task = ANY ($4)
            GROUP BY j.task
           UNION ALL -- requested shipments of which cups are still to be sent
           SELECT 'shipments_to_send', count(*), NULL, NULL, min(r.wanted_on)
             FROM shipment_listed l JOIN shipment_request r ON r.scheme = l.scheme AND r.number = l.number
            WHERE 'shipments_to_send' = ANY ($4) AND l.scheme = s.id AND l.site = 0 AND l.list = 'sender'
           UNION ALL
           SELECT 'shipments_overdue', count(*), NULL, NULL, min(r.wanted_on)
             FROM shipment_listed l JOIN shipment_request r ON r.scheme = l.scheme AND r.number = l.number
            WHERE 'shipments_overdue' = ANY ($4) AND l.scheme = s.id AND l.site = 0 AND l.list = 'open'
              AND r.wanted_on < (SELECT max(d.business_date) FROM business_day d WHERE d.scheme = s.id AND d.starts_at <= now())
           UNION ALL -- on the road for longer than a day, as the day stands that contains now
           SELECT 'shipments_late', count(*), NULL, sum(t.sent - t.received - t.lost), min(t.business_date)
             FROM (SELECT o.* FROM transfer o WHERE o.scheme = s.id AND o.home IS NULL AND o.sent <> o.received + o.lost
                   UNION ALL -- cups that other schemes sent home
                   SELECT o.* FROM transfer o WHERE o.home = s.id AND o.sent <> o.received + o.lost) AS t
            WHERE 'shipments_late' = ANY ($4)
              AND t.received + t.lost < t.sent
              AND t.business_date < (SELECT d.business_date FROM business_day d
                                      WHERE d.scheme = s.id AND d.starts_at <= now() ORDER BY d.business_date DESC LIMIT 1) - 1
           UNION ALL -- closed days after the last one that a till has stated, on which it did something
           SELECT 'totals_missing', count(*), NULL, NULL, min(d.business_date)
             FROM site t
            CROSS JOIN LATERAL (SELECT c.business_date FROM settlement c WHERE c.scheme = s.id ORDER BY c.business_date DESC LIMIT 1) AS closed
            CROSS JOIN LATERAL (SELECT o.business_date FROM day_total o WHERE o.scheme = s.id AND o.site = t.id
                                 ORDER BY o.business_date DESC LIMIT 1) AS told
             JOIN business_day d ON d.scheme = s.id AND d.business_date > told.business_date AND d.business_date <= closed.business_date
            WHERE 'totals_missing' = ANY ($4) AND t.scheme = s.id AND told.business_date >= closed.business_date - 31
              AND EXISTS (SELECT FROM till_day k WHERE (k.scheme, k.occurred_on, k.site) = (s.id, d.business_date, t.id) OFFSET 0)
           UNION ALL -- open sites that have done something since their last count that is not reversed
           SELECT 'sites_to_count', count(*), NULL, NULL, min(coalesce(counted.business_date, begun.business_date))
             FROM site t
            CROSS JOIN LATERAL (SELECT d.business_date FROM business_day d WHERE d.scheme = s.id AND d.starts_at <= now()
                                 ORDER BY d.business_date DESC LIMIT 1) AS today
            CROSS JOIN LATERAL (SELECT d.business_date FROM site_day d WHERE d.site = t.id ORDER BY d.business_date LIMIT 1) AS begun
             LEFT JOIN LATERAL (
                  SELECT e.business_date FROM entry e
                   WHERE e.site = t.id AND e.kind = :kind_count
                     AND NOT EXISTS (SELECT FROM entry_reference r
                                      WHERE r.scheme = s.id AND r.referred = e.entry AND r.kind = :kind_reversal)
                   ORDER BY e.entry DESC LIMIT 1) AS counted ON true
            WHERE 'sites_to_count' = ANY ($4) AND t.scheme = s.id AND t.opened_on <= today.business_date
              AND (t.closed_on IS NULL OR t.closed_on >= today.business_date)
              AND coalesce(counted.business_date, begun.business_date) < today.business_date - coalesce(t.count_days, $7::integer)
              AND EXISTS (SELECT FROM site_day d WHERE d.site = t.id AND d.business_date > coalesce(counted.business_date, '-infinity')
                          OFFSET 0)
           UNION ALL
           SELECT 'second_counts', count(*), NULL, NULL, min(n.business_date)
             FROM second_counts(s.id) AS n
            WHERE 'second_counts' = ANY ($4)
           ) AS w
    UNION ALL -- of these there may be many: they are read once for all schemes
    SELECT p.scheme, p.task, count(*), sum(p.amount), NULL, min(p.business_date)
      FROM (SELECT p.scheme, p.amount, p.business_date,
                   CASE WHEN $2::integer > 0 THEN CASE p.payer WHEN $2 THEN 'payments_to_make' ELSE 'payments_to_get' END
                        WHEN p.status = 'approved' THEN 'payments_to_send'
                        WHEN p.status = 'instructed' THEN 'payments_unconfirmed'
                        WHEN p.held IS NOT NULL AND NOT p.released THEN 'payments_held' ELSE 'payments_to_approve' END AS task
              FROM payment p
             WHERE $4 && ARRAY['payments_held', 'payments_to_approve', 'payments_to_send', 'payments_unconfirmed',
                               'payments_to_make', 'payments_to_get']
               AND p.scheme = ANY ($1) AND p.status NOT IN ('confirmed', 'failed')
               AND ($2 = 0 OR $2 IN (p.payer, p.payee))
            UNION ALL -- to other pools
            SELECT p.scheme, p.amount, p.business_date,
                   CASE WHEN p.status = 'approved' THEN 'payments_to_send' WHEN p.status = 'instructed' THEN 'payments_unconfirmed'
                        WHEN NOT p.released THEN 'payments_held' ELSE 'payments_to_approve' END
              FROM pool_payment p
             WHERE $4 && ARRAY['payments_held', 'payments_to_approve', 'payments_to_send', 'payments_unconfirmed']
               AND p.scheme = ANY ($1) AND p.status IN ('computed', 'approved', 'instructed') AND $2 = 0) AS p
     WHERE p.task = ANY ($4)
     GROUP BY p.scheme, p.task
    UNION ALL -- since the day of the first entry that has one
    SELECT e.scheme, 'exceptions_open', e.how_many, NULL, NULL,
           (SELECT x.business_date FROM exception_open o
              JOIN exception x ON x.scheme = o.scheme AND x.entry = o.entry AND x.position = o.position
             WHERE o.scheme = e.scheme AND o.entry = e.first ORDER BY o.position LIMIT 1)
      FROM (SELECT scheme, count(*) AS how_many, min(entry) AS first FROM exception_open
             WHERE 'exceptions_open' = ANY ($4) AND scheme = ANY ($1) GROUP BY scheme) AS e),
found AS (
    SELECT array_position($4::text[], w.task) AS task_place, asked.place, w.task, s.id AS scheme, s.code::text,
           s.currency, s.decimals, w.how_many, w.amount, w.cups, w.since
      FROM waits w JOIN asked ON asked.id = w.scheme JOIN scheme s ON s.id = w.scheme
     WHERE w.how_many > 0
    UNION ALL -- proposals are of no scheme, or of several
    SELECT array_position($4, p.task), 0, p.task, NULL, NULL, NULL, NULL, count(*), NULL, NULL, min(p.proposed_on)
      FROM (SELECT CASE k.holder WHEN (SELECT holder FROM api_key WHERE id = $3::integer)
                                 THEN 'proposals_made' ELSE 'proposals_to_approve' END AS task,
                   (p.proposed_at AT TIME ZONE 'UTC')::date AS proposed_on
              FROM proposal_listed l JOIN proposal p ON p.number = l.number JOIN api_key k ON k.id = p.proposed_by
             WHERE $4 && ARRAY['proposals_to_approve', 'proposals_made'] AND l.scheme = 0 AND l.status = 'open') AS p
     WHERE p.task = ANY ($4)
     GROUP BY p.task),
listed AS (
    SELECT task_place, place, task, scheme, code, NULL::bigint AS schemes, currency, decimals, how_many, amount, cups, since
      FROM found WHERE NOT $5::boolean
    UNION ALL
    SELECT task_place, min(place), task, NULL, NULL, nullif(count(scheme), 0), currency, decimals, sum(how_many), sum(amount),
           sum(cups), min(since)
      FROM found WHERE $5::boolean GROUP BY task_place, task, currency, decimals)
SELECT task, code, how_many, (SELECT min(d.business_date) FROM business_day d WHERE d.scheme = listed.scheme), since,
       (SELECT max(d.business_date) - $7::integer FROM business_day d WHERE d.scheme = listed.scheme AND d.starts_at <= now()),
       json_strip_nulls(json_build_object(
           'task', task, 'scheme', code, 'schemes', schemes, 'count', how_many, 'amount', amount_text(amount, decimals),
           'currency', CASE WHEN amount IS NOT NULL THEN currency END, 'cups', cups, 'since', since))
  FROM listed
 ORDER BY task_place, place LIMIT $6::bigint
