-- Check: after each close the clearing of a settled participant's sites and its arrears are zero, and the
-- settled amount is its position; those of one carried forward are its position. On a pay day a position is
-- carried only if it is small and of no arrears; on any other day every position is carried. Payments reproduce
-- the positions, and nobody both pays and receives (the pool does, where netting is central). $1 scheme.
WITH moved AS (
    SELECT CASE WHEN account_kind_of(account) = :account_site_clearing THEN s.participant
                ELSE account_owner(account) END AS participant,
           account, l.business_date, sum(amount) AS amount
      FROM leg l LEFT JOIN site s ON account_kind_of(account) = :account_site_clearing AND s.id = account_owner(account)
     WHERE l.scheme = $1::integer AND account_kind_of(account) IN (:account_site_clearing, :account_arrears)
     GROUP BY 1, 2, 3),
-- Days have no gaps and close in order: every movement of a closed day meets its close's line.
standing AS (
    SELECT participant, account, p.business_date,
           sum(coalesce(m.amount, 0)) OVER (PARTITION BY account ORDER BY p.business_date) AS through
      FROM (SELECT DISTINCT participant, account FROM moved) AS known
      JOIN position p USING (participant)
      LEFT JOIN moved m USING (participant, account, business_date)
     WHERE p.scheme = $1::integer),
cleared AS (
    SELECT participant, business_date, sum(through) AS through, count(*) FILTER (WHERE through <> 0) AS uncleared,
           sum(through) FILTER (WHERE account_kind_of(account) = :account_arrears) AS arrears
      FROM standing GROUP BY 1, 2),
settled AS (
    SELECT account_owner(account) AS participant, e.business_date,
           sum(amount) FILTER (WHERE account_kind_of(account) = :account_settlement_due) AS amount,
           -sum(amount) FILTER (WHERE account_kind_of(account) = :account_arrears) AS arrears
      FROM entry e CROSS JOIN unnest(accounts, amounts) AS leg(account, amount)
     WHERE scheme = $1::integer AND e.kind = :kind_settle
       AND account_kind_of(account) IN (:account_settlement_due, :account_arrears)
     GROUP BY 1, 2),
paid AS (
    SELECT participant, business_date, sum(amount) AS amount, min(amount) < 0 AND max(amount) > 0 AS both_ways
      FROM (SELECT payer AS participant, business_date, amount FROM payment WHERE scheme = $1::integer
            UNION ALL
            SELECT payee, business_date, -amount FROM payment WHERE scheme = $1::integer) AS side
     GROUP BY 1, 2),
by_terms AS MATERIALIZED (
    SELECT business_date, t.netting, t.minimum_payment, pays_on(s.scheme, business_date) AS pays
      FROM settlement s
      LEFT JOIN LATERAL (SELECT netting, minimum_payment FROM terms
                          WHERE scheme = s.scheme AND effective_date <= s.business_date
                          ORDER BY effective_date DESC LIMIT 1) t ON true
     WHERE scheme = $1::integer),
of_participant AS (
    SELECT p.participant, business_date,
           CASE WHEN NOT carried
                THEN p.pays IS NOT TRUE OR coalesce(uncleared, 0) <> 0 OR coalesce(s.amount, 0) <> p.amount
                     OR coalesce(paid.amount, 0) <> p.amount OR coalesce(s.arrears, 0) <> p.arrears
                ELSE coalesce(through, 0) <> p.amount OR s.amount IS NOT NULL OR paid.amount IS NOT NULL
                     OR CASE WHEN p.pays
                             THEN p.arrears <> 0 OR p.amount = 0 OR abs(p.amount) >= p.minimum_payment
                                  OR carried_since IS DISTINCT FROM coalesce(carried_before, business_date)
                             ELSE p.arrears <> coalesce(cleared.arrears, 0)
                                  OR carried_since IS DISTINCT FROM CASE WHEN p.amount <> 0 THEN carried_before END END END
           OR coalesce(both_ways, false) AS is_broken
      FROM (SELECT p.*, b.carried_since AS carried_before, t.minimum_payment, t.pays
              FROM position p
              LEFT JOIN position b ON (b.scheme, b.participant, b.business_date) = (p.scheme, p.participant, p.business_date - 1)
              LEFT JOIN by_terms t ON t.business_date = p.business_date
             WHERE p.scheme = $1::integer) p
      LEFT JOIN cleared USING (participant, business_date)
      LEFT JOIN settled s USING (participant, business_date)
      LEFT JOIN paid USING (participant, business_date)),
-- Each participant that dealt, was settled or paid must have a position; the pool's is the sum of the
-- others'.
of_others AS (
    SELECT participant, business_date, true AS is_broken
      FROM (SELECT participant, business_date FROM moved JOIN settlement s USING (business_date) WHERE s.scheme = $1::integer
            UNION SELECT participant, business_date FROM settled
            UNION SELECT participant, business_date FROM paid WHERE participant IS NOT NULL) AS known
     WHERE NOT EXISTS (SELECT FROM position p WHERE p.scheme = $1::integer AND p.participant = known.participant
                                                AND p.business_date = known.business_date)),
of_pool AS (
    SELECT NULL::integer, business_date,
           coalesce(paid.amount, 0) <> -coalesce((SELECT sum(amount) FROM position p WHERE p.scheme = $1::integer
                   AND p.business_date = by_terms.business_date AND NOT carried), 0)
           OR netting = 'direct' AND coalesce(both_ways, false) AS is_broken
      FROM by_terms LEFT JOIN (SELECT * FROM paid WHERE participant IS NULL) paid USING (business_date)),
examined AS (SELECT * FROM of_participant UNION ALL SELECT * FROM of_others UNION ALL SELECT * FROM of_pool)
SELECT count(*), count(*) FILTER (WHERE is_broken),
       first_lines(array_agg(format('%s at the close of %s', coalesce(p.code, 'the pool'), business_date)
                             ORDER BY business_date, p.code) FILTER (WHERE is_broken))
  FROM examined LEFT JOIN participant p ON p.id = participant
