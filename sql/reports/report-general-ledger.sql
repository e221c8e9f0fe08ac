-- One account's opening balance and legs, in entry order, with the balance after each; then, if asked for, the sums of
-- the period. $1 scheme, $2 account, $3 first and $4 last business day, $5 the sums 1: shown, 2: left out (null: the
-- same), $6 the part whose legs to list, without balances (null: all; the numbers are those of the CASE below), $7 the
-- entry to go on after (null: from the opening balance); balances and sums are the same then. Where the legs are:
-- those of a site's accounts in the site's entries (and, of its clearing, in other sites' receipts and losses); those
-- of deposits and cups with customers, of visiting cups, of money between schemes, and of refund_variance, anywhere;
-- all others in the few entries that are not of the counter. Each of the three has an index in entry order, and the
-- report costs as much as the entries that it finds there. They are read some thousand numbers at a time, in order, as
-- in the journal: the first row comes at once, and the running balance needs no sort. Each row has the account's code
-- in the office's own ledger on its day, and, if there are no more than two, the sites and participants of the entry's
-- other accounts.
WITH of_scheme AS (
    SELECT decimals, account_unit($2::bigint) = 0 AS is_money,
           coalesce((SELECT code FROM cup_type WHERE cup_type.id = account_unit($2)), currency) AS unit
      FROM scheme WHERE scheme.id = $1::integer),
span AS (
    SELECT min(first_entry) AS first, max(last_entry) AS last FROM business_day
     WHERE scheme = $1::integer AND business_date BETWEEN $3::date AND $4::date),
named AS MATERIALIZED ( -- the owners of all other accounts, by the account's number without its cup type
    SELECT jsonb_object_agg((account_of(k.kind, owner.id, 0) >> 16)::text, owner.code) AS codes
      FROM account_kind own
      JOIN account_kind k ON k.scope IN ('site', 'site_cup_type', 'participant')
      JOIN (SELECT id, code, false AS is_participant FROM site WHERE scheme = $1::integer
            UNION ALL
            SELECT id, code, true FROM participant) AS owner ON owner.is_participant = (k.scope = 'participant')
     WHERE own.kind = account_kind_of($2::bigint)
       AND (own.scope NOT IN ('site', 'site_cup_type', 'participant')
            OR (own.scope = 'participant', account_owner($2)) <> (owner.is_participant, owner.id))),
listed AS (
    SELECT NULL::bigint AS entry, NULL::date AS business_date, 'opening' AS kind, NULL::text AS site, NULL::text AS event_id,
           balance_through($1::integer, $2, $3 - 1) AS amount, NULL::text AS counterparty, NULL::text AS reference,
           NULL::text AS payment_id
     WHERE $6::integer IS NULL
    UNION ALL
    SELECT line.entry, line.business_date, line.kind, line.site, line.event_id, line.amount, line.counterparty, line.reference,
           line.payment_id
      FROM span
     CROSS JOIN LATERAL generate_series(span.first, span.last, 4096) AS step(first)
     CROSS JOIN LATERAL (
           SELECT e.entry, e.business_date, k.word AS kind, s.code AS site, e.event::json ->> 'event_id' AS event_id, l.amount,
                  (SELECT CASE WHEN count(DISTINCT met.code) <= 2 THEN string_agg(DISTINCT met.code, ' ') END
                     FROM (SELECT ((SELECT codes FROM named) ->> (a >> 16)::text) COLLATE "C" AS code
                             FROM unnest(e.accounts) AS a) AS met) AS counterparty,
                  e.event::json ->> 'reference' AS reference, paid.payment_id,
                  CASE WHEN e.kind IN (:kinds_counter) THEN 1
                       WHEN e.kind = :kind_forfeit THEN 2
                       WHEN e.kind = :kind_reinstate THEN 3
                       WHEN e.kind = :kind_remeasurement OR l.position > o.mirrored THEN 4
                       WHEN e.kind IN (:kind_reversal, :kind_reversal_abroad) THEN 5
                       WHEN e.kind = :kind_settle THEN 6
                       WHEN e.kind IN (:kind_payment_confirmed, :kind_bank_line_resolved) THEN 7
                       WHEN e.kind = :kind_payment_failed AND array_position(e.accounts, l.account) = l.position
                            AND cardinality(array_positions(e.accounts, l.account)) = 2 THEN 7 -- mirrors what was paid
                       WHEN e.kind = :kind_payment_failed THEN 8
                       WHEN e.kind = :kind_return_abroad THEN 10
                       ELSE 9 END AS part
             FROM (SELECT entry, business_date, kind, site, event, accounts, amounts FROM entry
                    WHERE account_kind_of($2) IN (:account_customer_deposits, :account_refund_variance, :account_with_customers,
                                                   :account_between_schemes, :account_visiting)
                      AND scheme = $1::integer AND entry BETWEEN step.first AND step.first + 4095
                      AND business_date BETWEEN $3 AND $4
                   UNION ALL
                   SELECT entry, business_date, kind, site, event, accounts, amounts FROM entry
                    WHERE account_kind_of($2) IN (:account_stock_deposits, :account_site_clearing,
                                                   :account_site_stock, :account_damaged)
                      AND site = account_owner($2)
                      AND scheme = $1::integer AND entry BETWEEN step.first AND step.first + 4095
                      AND business_date BETWEEN $3 AND $4
                   UNION ALL
                   SELECT entry, business_date, kind, site, event, accounts, amounts FROM entry
                    WHERE account_kind_of($2) NOT IN (:account_customer_deposits, :account_refund_variance, :account_with_customers,
                                                       :account_stock_deposits, :account_site_stock, :account_damaged, :account_between_schemes,
                                                       :account_visiting)
                      AND kind > :kind_exchange
                      AND (account_kind_of($2) <> :account_site_clearing OR site IS DISTINCT FROM account_owner($2))
                      AND scheme = $1::integer AND entry BETWEEN step.first AND step.first + 4095
                      AND business_date BETWEEN $3 AND $4
                   UNION ALL -- an opening and its reversal are of no site, and move cups of all sites
                   SELECT e.entry, e.business_date, e.kind, e.site, e.event, e.accounts, e.amounts
                     FROM proposed_event p JOIN entry e ON e.scheme = p.scheme AND e.entry = p.entry
                    WHERE account_kind_of($2) IN (:account_stock_deposits, :account_site_stock, :account_damaged)
                      AND p.scheme = $1::integer AND p.status = 'approved' AND p.kind <> :kind_journal
                      AND e.entry BETWEEN step.first AND step.first + 4095 AND e.business_date BETWEEN $3 AND $4
                   OFFSET 0) AS e
             JOIN entry_kind k USING (kind)
             LEFT JOIN site s ON s.id = e.site
             LEFT JOIN LATERAL (
                  SELECT c.payment_id FROM payment_change c
                   WHERE e.kind IN (:kind_payment_confirmed, :kind_payment_failed) AND c.scheme = $1::integer AND c.entry = e.entry
                   LIMIT 1) AS paid ON true
             LEFT JOIN LATERAL ( -- how many legs of a reversal mirror the reversed entry's; further ones remeasure
                  SELECT cardinality(r.accounts) AS mirrored
                    FROM entry_reference f JOIN entry r ON r.scheme = f.scheme AND r.entry = f.referred
                   WHERE $6::integer IS NOT NULL AND e.kind IN (:kind_reversal, :kind_reversal_abroad)
                     AND f.scheme = $1::integer AND f.entry = e.entry AND f.kind = e.kind
                  OFFSET 0) AS o ON true
            CROSS JOIN LATERAL unnest(e.accounts, e.amounts) WITH ORDINALITY AS l(account, amount, position)
            WHERE l.account = $2
            ORDER BY e.entry, l.position
           OFFSET 0) AS line
     WHERE $6::integer IS NULL OR line.part = $6
    UNION ALL
    SELECT NULL, NULL, sums.kind, NULL, NULL, 0, NULL, NULL, NULL
      FROM (VALUES ('movement'), ('closing')) AS sums(kind) WHERE $5::integer = 1),
chart AS MATERIALIZED ( -- an account's own row comes before its kind's
    SELECT since, until, code, name, account = $2::bigint AS is_own FROM office_codes($1::integer)
     WHERE account IN ($2::bigint, account_of(account_kind_of($2::bigint), 0, 0))),
running AS (
    SELECT listed.*, sum(amount) OVER upto AS balance,
           CASE WHEN kind = 'closing' THEN coalesce(sum(greatest(amount, 0)) FILTER (WHERE entry > 0) OVER upto, 0)
                WHEN kind = 'movement' THEN greatest(coalesce(sum(amount) FILTER (WHERE entry > 0) OVER upto, 0), 0)
                WHEN entry > 0 AND amount > 0 THEN amount END AS debit,
           CASE WHEN kind = 'closing' THEN coalesce(sum(greatest(-amount, 0)) FILTER (WHERE entry > 0) OVER upto, 0)
                WHEN kind = 'movement' THEN greatest(-coalesce(sum(amount) FILTER (WHERE entry > 0) OVER upto, 0), 0)
                WHEN entry > 0 AND amount < 0 THEN -amount END AS credit
      FROM listed WINDOW upto AS (ROWS UNBOUNDED PRECEDING))
SELECT entry, business_date, kind, site, event_id, unit,
       CASE WHEN is_money THEN amount_text(debit, decimals) ELSE debit::text END,
       CASE WHEN is_money THEN amount_text(credit, decimals) ELSE credit::text END,
       CASE WHEN $6::integer IS NOT NULL OR kind = 'movement' THEN NULL
            WHEN is_money THEN amount_text(balance, decimals) ELSE balance::text END, coded.code, coded.name,
       counterparty, reference, payment_id
  FROM running
 CROSS JOIN of_scheme
  LEFT JOIN LATERAL (
       SELECT code, name
         FROM (SELECT coalesce(business_date, CASE WHEN kind IN ('movement', 'closing') THEN $4 ELSE $3 END) AS day) AS at
         JOIN chart ON at.day >= since AND at.day < until
        ORDER BY is_own DESC LIMIT 1) AS coded ON true
 WHERE $7::bigint IS NULL OR entry > $7 OR kind IN ('movement', 'closing')
