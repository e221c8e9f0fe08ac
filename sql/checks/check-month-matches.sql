-- Check of the business days $2 to $3 of scheme $1 alone: each of their entries balances, is known by its id and
-- digest, has the site and instant of its event, and books what was agreed with another scheme; their counters are
-- those of their entries; their movements are the sums of legs; and their closing balances follow from the closing
-- balances before them. Entries are read from the first number of the days to the last, by the primary key.
WITH days AS MATERIALIZED (
    SELECT * FROM business_day WHERE scheme = $1::integer AND business_date BETWEEN $2::date AND $3::date),
posted AS MATERIALIZED (
    SELECT e.entry, e.business_date, e.kind, e.late, e.site, e.occurred_at, e.event, e.accounts, e.amounts FROM entry e
     WHERE e.scheme = $1::integer AND e.business_date BETWEEN $2::date AND $3::date
       AND e.entry BETWEEN (SELECT min(first_entry) FROM days) AND (SELECT max(last_entry) FROM days)),
counted AS (
    SELECT business_date, count(*) AS entries, count(event) AS events, count(*) FILTER (WHERE late) AS late_events,
           min(entry) AS first_entry, max(entry) AS last_entry
      FROM posted GROUP BY 1),
moved AS (
    SELECT l.account, p.business_date, sum(l.amount) AS amount
      FROM posted p CROSS JOIN unnest(p.accounts, p.amounts) AS l(account, amount) GROUP BY 1, 2),
agreed AS (
    SELECT a.entry, a.home, a.host,
           agreed_in_books(a.scheme, a.home, a.host, a.amount, a.in_host_currency, a.rate_e12)
           * CASE WHEN a.scheme = a.host THEN 1 ELSE -1 END AS amount
      FROM agreed_amount a JOIN posted p USING (entry)
     WHERE a.scheme = $1::integer
       AND a.entry BETWEEN (SELECT min(first_entry) FROM days) AND (SELECT max(last_entry) FROM days)),
booked AS (
    SELECT p.entry, account_home(l.account) AS home, account_host(l.account) AS host, sum(l.amount) AS amount
      FROM posted p CROSS JOIN unnest(p.accounts, p.amounts) AS l(account, amount)
     WHERE account_kind_of(l.account) = :account_between_schemes
       AND p.kind IN (:kinds_counter, :kind_reversal, :kind_return_abroad, :kind_reversal_abroad)
     GROUP BY 1, 2, 3),
kept AS (
    SELECT account, business_date, sum(movement) AS movement, max(closing) AS closing
      FROM (SELECT b.account, b.business_date, b.movement, b.closing
              FROM accounts_of($1::integer) AS a(account)
              JOIN balance b ON b.scheme = $1::integer AND b.account = a.account AND b.business_date BETWEEN $2::date AND $3::date
            UNION ALL
            SELECT account, business_date, movement, NULL FROM recent_balance
             WHERE scheme = $1::integer AND business_date BETWEEN $2::date AND $3::date) AS part
     GROUP BY 1, 2),
running AS (
    SELECT account, business_date, coalesce(m.amount, 0) AS amount, k.movement, k.closing,
           sum(coalesce(m.amount, 0)) OVER (PARTITION BY account ORDER BY business_date) AS through
      FROM moved m FULL JOIN kept k USING (account, business_date)),
opening AS (
    SELECT account, coalesce((SELECT b.closing FROM balance b
                               WHERE b.scheme = $1::integer AND b.account = r.account AND b.business_date < $2::date
                                 AND b.closing IS NOT NULL
                               ORDER BY b.business_date DESC LIMIT 1), 0) AS amount
      FROM (SELECT DISTINCT account FROM running) AS r),
examined AS (
    SELECT p.entry AS at, format('entry %s does not balance', p.entry) AS what,
           cardinality(p.accounts) <> cardinality(p.amounts)
           OR EXISTS (SELECT FROM unnest(p.accounts, p.amounts) AS leg(account, amount)
                       GROUP BY account_unit(account) HAVING sum(amount) IS DISTINCT FROM 0) AS is_broken
      FROM posted p
    UNION ALL
    SELECT p.entry, format('entry %s is not known by the id of its event', p.entry),
           NOT EXISTS (SELECT FROM event_id i
                        WHERE i.scheme = $1::integer AND i.event_id = (p.event::json ->> 'event_id')::uuid AND i.entry = p.entry
                          AND i.digest = substring(sha256(convert_to(p.event, 'UTF8')) FOR 16))
      FROM posted p WHERE p.event IS NOT NULL
    UNION ALL
    SELECT p.entry, format('entry %s has not the site and instant of its event', p.entry),
           (p.site, p.occurred_at) IS DISTINCT FROM (s.id, (p.event::json ->> 'occurred_at')::timestamptz)
      FROM posted p LEFT JOIN site s ON s.code = p.event::json ->> 'site' WHERE p.event IS NOT NULL
    UNION ALL
    SELECT entry, format('entry %s does not book what is agreed', entry), coalesce(a.amount, 0) <> coalesce(b.amount, 0)
      FROM agreed a FULL JOIN booked b USING (entry, home, host)
    UNION ALL
    SELECT 0, format('the counters of %s are not those of its entries', business_date),
           (coalesce(d.entries, 0), coalesce(d.events, 0), coalesce(d.late_events, 0), d.first_entry, d.last_entry)
           IS DISTINCT FROM (coalesce(c.entries, 0), coalesce(c.events, 0), coalesce(c.late_events, 0), c.first_entry, c.last_entry)
      FROM days d FULL JOIN counted c USING (business_date)
    UNION ALL
    SELECT 0, format('%s on %s is not what its legs say', coalesce(account_name(account), account::text, 'no account'), business_date),
           r.amount <> coalesce(r.movement, 0) OR (d.state = 'closed') IS DISTINCT FROM (r.closing IS NOT NULL)
           OR r.closing <> o.amount + r.through
      FROM running r JOIN opening o USING (account) LEFT JOIN days d USING (business_date))
SELECT count(*), count(*) FILTER (WHERE is_broken),
       first_lines(array_agg(what ORDER BY at, what) FILTER (WHERE is_broken))
  FROM examined
