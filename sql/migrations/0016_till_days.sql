-- What tills did in a business day, by the day in which it happened, as the report of their totals has it. Kept with the particulars:
-- from then on nothing of the day can change. So the report reads rows by sites and days, and events of open days only.
CREATE TABLE till_day (
    scheme        integer NOT NULL,
    business_date date NOT NULL, -- to which it posted
    site          integer NOT NULL,
    occurred_on   date NOT NULL,
    issued        bigint NOT NULL, -- cups, less reversed
    returned      bigint NOT NULL,
    collected     bigint NOT NULL, -- minor units that the till took, less reversed
    refunded      bigint NOT NULL,
    PRIMARY KEY (scheme, business_date, site, occurred_on)
);
CREATE INDEX ON till_day (scheme, occurred_on, site);
GRANT SELECT, INSERT ON till_day TO depositd_service;

-- The same from the entries of a day, of one site or (null) all. What is not late happened in the day that it posted to. The till's own
-- amount counts, stated or by tariff, also where clearing took the tariff instead. A reversal takes back what the reversed event did,
-- on the later of its own day and that event's posting day.
CREATE FUNCTION till_day_of(of_scheme integer, of_day date, of_site integer)
    RETURNS TABLE (site integer, occurred_on date, issued bigint, returned bigint, collected bigint, refunded bigint)
    LANGUAGE sql STABLE ROWS 1000 AS $$
    WITH posted AS (
        SELECT e.entry, e.business_date, e.site, e.kind, e.late, e.occurred_at, e.event, e.accounts, e.amounts
          FROM business_day d
          JOIN entry e ON e.scheme = d.scheme AND e.entry BETWEEN d.first_entry AND d.last_entry AND e.business_date = d.business_date
         WHERE of_site IS NULL AND d.scheme = of_scheme AND d.business_date = of_day AND e.site IS NOT NULL AND e.kind IN (1, 2, 3, 11)
        UNION ALL
        SELECT e.entry, e.business_date, e.site, e.kind, e.late, e.occurred_at, e.event, e.accounts, e.amounts
          FROM business_day d
         CROSS JOIN LATERAL (SELECT * FROM entry n
                              WHERE n.site = of_site AND n.entry BETWEEN d.first_entry AND d.last_entry
                                AND n.business_date = d.business_date AND n.kind IN (1, 2, 3, 11)
                             OFFSET 0) AS e
         WHERE d.scheme = of_scheme AND d.business_date = of_day AND e.scheme = of_scheme),
    happened AS (
        SELECT p.site, CASE p.kind WHEN 11 THEN -1 ELSE 1 END AS sign, coalesce(o.kind, p.kind) AS kind,
               coalesce(o.event, p.event)::json ->> 'amount' AS stated, coalesce(o.accounts, p.accounts) AS accounts,
               coalesce(o.amounts, p.amounts) AS amounts,
               greatest(CASE WHEN p.late
                             THEN (SELECT d.business_date FROM business_day d WHERE d.scheme = of_scheme AND d.starts_at <= p.occurred_at
                                    ORDER BY d.business_date DESC LIMIT 1)
                             ELSE p.business_date END, o.business_date) AS occurred_on
          FROM posted p
          LEFT JOIN LATERAL (
               SELECT r.kind, r.event, r.accounts, r.amounts, r.business_date
                 FROM entry_reference f JOIN entry r ON r.scheme = f.scheme AND r.entry = f.referred
                WHERE p.kind = 11 AND f.scheme = of_scheme AND f.entry = p.entry) o ON true),
    at_till AS ( -- into the till: what the site's clearing and, on deposit, its own deposits took
        SELECT h.site, h.occurred_on, h.sign, moved.issued, moved.returned,
               coalesce(CASE h.kind WHEN 2 THEN -1 ELSE 1 END * round(h.stated::numeric * power(10::numeric, s.decimals)), moved.taken) AS till
          FROM happened h
          JOIN scheme s ON s.id = of_scheme
         CROSS JOIN LATERAL (
               SELECT coalesce(-sum(l.amount) FILTER (WHERE l.account >> 48 IN (33, 34) AND l.amount < 0), 0) AS issued,
                      coalesce(sum(l.amount) FILTER (WHERE l.account >> 48 IN (33, 34) AND l.amount > 0), 0) AS returned,
                      coalesce(sum(l.amount) FILTER (WHERE l.account >> 48 IN (2, 4)), 0) AS taken
                 FROM unnest(h.accounts, h.amounts) AS l(account, amount)) AS moved
         WHERE h.kind IN (1, 2, 3))
    SELECT t.site, t.occurred_on, sum(t.sign * t.issued)::bigint, sum(t.sign * t.returned)::bigint,
           sum(t.sign * greatest(t.till, 0))::bigint, sum(t.sign * greatest(-t.till, 0))::bigint
      FROM at_till t GROUP BY t.site, t.occurred_on
$$;

INSERT INTO till_day
SELECT p.scheme, p.business_date, t.* FROM particulars p CROSS JOIN LATERAL till_day_of(p.scheme, p.business_date, NULL) AS t;
