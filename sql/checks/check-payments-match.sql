-- Check: for each participant, the amount settled and not yet paid is the sum of its payments that are neither
-- confirmed nor failed, less the bank lines that were resolved to it; each payment's status follows from its last
-- change; and each confirmation and each failure is one entry that moves the payment's amount between its parties.
-- The amount due to another scheme's pool is the sum of the payments to it that are neither confirmed nor failed.
-- $1 scheme.
WITH due AS (
    SELECT account_owner(account) AS participant, sum(amount) AS amount
      FROM leg WHERE scheme = $1::integer AND account_kind_of(account) = :account_settlement_due GROUP BY 1),
expected AS (
    SELECT participant, sum(amount) AS amount
      FROM (SELECT payer AS participant, amount FROM payment
             WHERE scheme = $1::integer AND payer IS NOT NULL AND status NOT IN ('confirmed', 'failed')
            UNION ALL
            SELECT payee, -amount FROM payment
             WHERE scheme = $1::integer AND payee IS NOT NULL AND status NOT IN ('confirmed', 'failed')
            UNION ALL
            SELECT account_owner(account), l.amount
              FROM entry e CROSS JOIN unnest(accounts, amounts) AS l(account, amount)
             WHERE e.scheme = $1::integer AND e.kind = :kind_bank_line_resolved
               AND account_kind_of(account) = :account_settlement_due) AS part
     GROUP BY 1),
done AS (
    SELECT payment_id, bool_or(change = 'release') AS released, count(*) FILTER (WHERE change = 'approve') AS approvals,
           (array_agg(change ORDER BY position DESC) FILTER (WHERE change IN ('instruct', 'confirm', 'fail')))[1] AS last,
           bool_or(change = 'confirm') AS confirmed
      FROM payment_change WHERE scheme = $1::integer GROUP BY 1),
-- The net movement of each confirmation and each failure: of one that fails after it was confirmed, the due
-- is mirrored away.
moves AS (
    SELECT c.payment_id, c.change, c.entry, leg.account, sum(leg.sign * p.amount) AS amount
      FROM payment_change c
      JOIN payment p USING (scheme, payment_id)
      JOIN done d USING (payment_id)
     CROSS JOIN LATERAL (VALUES
           ('confirm', account_of(:account_bank, 0, 0),
            CASE WHEN p.payee IS NULL THEN 1 ELSE 0 END - CASE WHEN p.payer IS NULL THEN 1 ELSE 0 END),
           ('confirm', account_of(:account_settlement_due, p.payer, 0), -1),
           ('confirm', account_of(:account_settlement_due, p.payee, 0), 1),
           ('fail', account_of(:account_settlement_due, p.payer, 0), -1),
           ('fail', account_of(:account_arrears, p.payer, 0), 1),
           ('fail', account_of(:account_settlement_due, p.payee, 0), 1),
           ('fail', account_of(:account_arrears, p.payee, 0), -1)) AS of(change, account, sign)
     CROSS JOIN LATERAL (SELECT of.account, of.sign WHERE of.change = c.change
                         UNION ALL
                         SELECT of.account, -of.sign WHERE of.change = 'confirm' AND c.change = 'fail' AND d.confirmed) AS leg
     WHERE c.scheme = $1::integer AND leg.account IS NOT NULL
     GROUP BY 1, 2, 3, 4),
expected_entry AS (
    SELECT payment_id, entry, CASE change WHEN 'confirm' THEN :kind_payment_confirmed ELSE :kind_payment_failed END AS kind,
           string_agg(account || ' ' || amount, ',' ORDER BY account) FILTER (WHERE amount <> 0) AS legs
      FROM moves GROUP BY 1, 2, 3),
pool_change AS MATERIALIZED (
    SELECT c.entry FROM payment_change c JOIN pool_payment o USING (scheme, payment_id)
     WHERE c.scheme = $1::integer AND c.entry IS NOT NULL),
posted AS (
    SELECT entry, kind, string_agg(account || ' ' || amount, ',' ORDER BY account) FILTER (WHERE amount <> 0) AS legs
      FROM (SELECT e.entry, e.kind, l.account, sum(l.amount) AS amount
              FROM entry e CROSS JOIN unnest(accounts, amounts) AS l(account, amount)
             WHERE e.scheme = $1::integer AND e.kind IN (:kind_payment_confirmed, :kind_payment_failed)
               AND NOT EXISTS (SELECT FROM pool_change o WHERE o.entry = e.entry) GROUP BY 1, 2, 3) AS leg
     GROUP BY 1, 2),
pool_due AS (
    SELECT account_owner(account) AS host, -sum(amount) AS amount
      FROM leg WHERE scheme = $1::integer AND account_kind_of(account) = :account_settlement_due_scheme GROUP BY 1),
pool_expected AS (
    SELECT host, sum(amount) AS amount FROM pool_payment
     WHERE scheme = $1::integer AND status NOT IN ('confirmed', 'failed') GROUP BY 1),
examined AS (
    SELECT format('what is due to the pool of %s is not the sum of its payments', h.code) AS what,
           coalesce(pool_due.amount, 0) <> coalesce(pool_expected.amount, 0) AS is_broken
      FROM pool_due FULL JOIN pool_expected USING (host) LEFT JOIN scheme h ON h.id = host
    UNION ALL
    SELECT format('what is due of %s is not the sum of its payments', coalesce(c.code, participant::text)) AS what,
           coalesce(due.amount, 0) <> coalesce(expected.amount, 0) AS is_broken
      FROM due FULL JOIN expected USING (participant) LEFT JOIN participant c ON c.id = participant
    UNION ALL
    SELECT format('payment %s is not what was done to it', coalesce(p.payment_id, d.payment_id)),
           p.payment_id IS NULL OR p.released <> coalesce(d.released, false)
           OR CASE d.last WHEN 'instruct' THEN p.status <> 'instructed' WHEN 'confirm' THEN p.status <> 'confirmed'
                          WHEN 'fail' THEN p.status <> 'failed'
                          ELSE p.status <> 'computed' AND (p.status <> 'approved' OR coalesce(d.approvals, 0) = 0)
                               OR p.status = 'computed' AND d.approvals > 1 END
      FROM (SELECT payment_id, status, released FROM payment WHERE scheme = $1::integer
            UNION ALL
            SELECT payment_id, status, released FROM pool_payment WHERE scheme = $1::integer) p FULL JOIN done d USING (payment_id)
    UNION ALL
    SELECT CASE WHEN x.payment_id IS NULL THEN format('entry %s is of no payment', entry)
                ELSE format('payment %s has not the entry for what was done to it', x.payment_id) END,
           (x.kind = posted.kind AND x.legs = posted.legs) IS NOT TRUE
      FROM expected_entry x FULL JOIN posted USING (entry))
SELECT count(*), count(*) FILTER (WHERE is_broken), first_lines(array_agg(what ORDER BY what) FILTER (WHERE is_broken))
  FROM examined
