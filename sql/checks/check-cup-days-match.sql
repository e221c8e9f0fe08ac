-- Check: the kept figures of closed days' cups and of the deposits on them follow from the sites' activity in
-- these days, and from the movements of customer_deposits, supply and retired. $1 scheme. Both stand beside
-- the entries in ways of their own.
WITH closed AS (SELECT business_date FROM particulars WHERE scheme = $1::integer), -- which are kept with them
kept AS (SELECT * FROM cup_day WHERE scheme = $1::integer),
at_tills AS (SELECT * FROM till_day WHERE scheme = $1::integer),
examined AS (
    SELECT business_date, coalesce((SELECT code FROM site WHERE id = site), 'no site') AS what,
           (coalesce(d.issued, 0), coalesce(d.returned, 0)) <> (coalesce(k.issued, 0), coalesce(k.returned, 0)) AS is_broken
      FROM (SELECT business_date, site, issued, returned FROM site_day JOIN closed USING (business_date) WHERE scheme = $1::integer) d
      FULL JOIN (SELECT business_date, site, sum(issued) AS issued, sum(returned) AS returned FROM at_tills GROUP BY 1, 2) k
           USING (business_date, site)
    UNION ALL
    SELECT business_date, coalesce((SELECT code FROM site WHERE id = site), 'no site') AS what,
           (coalesce(d.issued, 0), coalesce(d.returned, 0)) <> (coalesce(k.issued, 0), coalesce(k.returned, 0)) AS is_broken
      FROM (SELECT business_date, site, issued, returned FROM site_day JOIN closed USING (business_date) WHERE scheme = $1::integer) d
      FULL JOIN (SELECT business_date, site, sum(issued) AS issued, sum(returned) AS returned FROM kept GROUP BY 1, 2) k
           USING (business_date, site)
    UNION ALL
    SELECT business_date, (SELECT code FROM cup_type WHERE id = cup_type),
           (coalesce(b.deposits, 0), coalesce(b.supplied, 0), coalesce(b.retired, 0))
           <> (coalesce(k.deposits, 0), coalesce(k.supplied, 0), coalesce(k.retired, 0))
      FROM (SELECT business_date, account_cup_type(account) AS cup_type,
                   -sum(movement) FILTER (WHERE account >> 48 = :account_customer_deposits) AS deposits,
                   -sum(movement) FILTER (WHERE account >> 48 = :account_supply) AS supplied,
                   sum(movement) FILTER (WHERE account >> 48 = :account_retired) AS retired
              FROM balance JOIN closed USING (business_date)
             WHERE scheme = $1::integer
               AND account IN (SELECT account_of(kind, 0, id)
                                 FROM cup_type,
                                      unnest(ARRAY[:account_customer_deposits, :account_supply, :account_retired]) AS kind)
             GROUP BY 1, 2) b
      FULL JOIN (SELECT business_date, cup_type, sum(deposits_issued - deposits_refunded - deposits_forfeited + deposits_reinstated
                                                     + deposits_remeasured + deposits_reversed + deposits_opened
                                                     - deposits_abroad) AS deposits,
                          sum(supplied) AS supplied, sum(retired) AS retired
                   FROM kept GROUP BY 1, 2) k USING (business_date, cup_type))
SELECT count(*), count(*) FILTER (WHERE is_broken),
       first_lines(array_agg(format('%s on %s', what, business_date) ORDER BY business_date, what) FILTER (WHERE is_broken))
  FROM examined
