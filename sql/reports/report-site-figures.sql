-- The parts of the figures of sites, in entry order: cups issued and returned, as events state them, and the legs of
-- the sites' dealings, of fees and of the tax on them; then their sum, if one figure is asked for. $1 scheme, $2
-- first and $3 last business day, $4 site (null: all), $5 the figure (null: all; 1 issued, 2 returned, 3 collected, 4
-- refunded, 5 fees, 6 tax, 7 stock, 8 other), $6 cup type (null: all; only cups issued and returned have one), $7 the
-- sites to show (null: all). A reversal takes away what the reversed entry had added; its further legs bring the cups
-- to today's value. Entries are read some thousand numbers at a time, in order, as in the general ledger. The entries
-- of a site are found by its index. Other entries that move its dealings are none of the counter.
WITH span AS (
    SELECT min(first_entry) AS first, max(last_entry) AS last FROM business_day
     WHERE scheme = $1::integer AND business_date BETWEEN $2::date AND $3::date),
listed AS (
    SELECT line.*
      FROM span
     CROSS JOIN LATERAL generate_series(span.first, span.last, 4096) AS step(first)
     CROSS JOIN LATERAL (
           SELECT e.entry, e.business_date, s.code AS site, k.word AS kind, e.event::json ->> 'event_id' AS event_id,
                  e.event::json ->> 'reference' AS reference, part.number, c.code AS cup_type, part.cups, part.amount
             FROM (SELECT entry, business_date, kind, site, event, accounts, amounts FROM entry
                    WHERE $4::integer IS NOT NULL AND site = $4::integer
                      AND scheme = $1::integer AND entry BETWEEN step.first AND step.first + 4095 AND business_date BETWEEN $2 AND $3
                   UNION ALL
                   SELECT entry, business_date, kind, site, event, accounts, amounts FROM entry
                    WHERE $4::integer IS NOT NULL AND kind > :kind_exchange AND site IS DISTINCT FROM $4::integer
                      AND scheme = $1::integer AND entry BETWEEN step.first AND step.first + 4095 AND business_date BETWEEN $2 AND $3
                   UNION ALL
                   SELECT entry, business_date, kind, site, event, accounts, amounts FROM entry
                    WHERE $4::integer IS NULL
                      AND scheme = $1::integer AND entry BETWEEN step.first AND step.first + 4095 AND business_date BETWEEN $2 AND $3
                   OFFSET 0) AS e
             JOIN entry_kind k USING (kind)
             LEFT JOIN LATERAL (
                  SELECT r.kind, r.event, cardinality(r.accounts) AS legs
                    FROM entry_reference f JOIN entry r ON r.scheme = f.scheme AND r.entry = f.referred
                   WHERE e.kind = :kind_reversal AND f.scheme = $1::integer AND f.entry = e.entry AND f.kind = :kind_reversal
                  OFFSET 0) AS o ON true
            CROSS JOIN LATERAL (SELECT CASE e.kind WHEN :kind_reversal THEN -1 ELSE 1 END AS sign, coalesce(o.kind, e.kind) AS kind) AS did
            CROSS JOIN LATERAL (
                  SELECT said.number, e.site, (SELECT id FROM cup_type WHERE code = said.line ->> 'cup_type') AS cup_type,
                         did.sign * (said.line ->> 'quantity')::bigint AS cups, NULL::bigint AS amount, said.position
                    FROM (SELECT 1 AS number, line, position
                            FROM json_array_elements(coalesce(o.event, e.event)::json -> 'issued') WITH ORDINALITY AS i(line, position)
                          UNION ALL
                          SELECT 2, line, position
                            FROM json_array_elements(coalesce(o.event, e.event)::json -> 'returned') WITH ORDINALITY AS i(line, position)
                         ) AS said
                   WHERE did.kind IN (:kinds_counter)
                  UNION ALL
                  SELECT CASE WHEN account_kind_of(l.account) <> :account_site_clearing
                              THEN CASE account_kind_of(l.account) WHEN :account_tax THEN 6 ELSE 5 END
                              WHEN its.kind IN (:kinds_counter) THEN CASE WHEN did.sign * l.amount > 0 THEN 3 ELSE 4 END
                              WHEN its.kind IN (:kinds_stock) THEN 7 ELSE 8 END,
                         CASE WHEN account_kind_of(l.account) = :account_site_clearing THEN account_owner(l.account) ELSE e.site END,
                         NULL, NULL,
                         CASE WHEN account_kind_of(l.account) <> :account_site_clearing THEN -l.amount
                              WHEN its.kind IN (:kinds_counter) AND did.sign * l.amount < 0 THEN -l.amount
                              ELSE l.amount END,
                         1000 + l.position
                    FROM unnest(e.accounts, e.amounts) WITH ORDINALITY AS l(account, amount, position)
                   CROSS JOIN LATERAL (SELECT CASE WHEN e.kind = :kind_reversal AND l.position > o.legs THEN e.kind ELSE did.kind END AS kind) AS its
                   WHERE (e.kind NOT IN (:kinds_close) AND account_kind_of(l.account) = :account_site_clearing)
                      OR (e.kind = :kind_fees
                          AND account_kind_of(l.account) IN (:account_service_fees, :account_handling_fees, :account_tax))) AS part
             JOIN site s ON s.id = part.site
             LEFT JOIN cup_type c ON c.id = part.cup_type
            WHERE ($4::integer IS NULL OR part.site = $4) AND ($7::integer[] IS NULL OR part.site = ANY ($7))
              AND ($5::integer IS NULL OR part.number = $5) AND ($6::integer IS NULL OR part.cup_type = $6)
            ORDER BY e.entry, part.position) AS line
    UNION ALL
    SELECT NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, 0, 0 WHERE $5::integer IS NOT NULL),
running AS (
    SELECT listed.*, sum(cups) OVER upto AS all_cups, sum(amount) OVER upto AS all_amount
      FROM listed WINDOW upto AS (ROWS UNBOUNDED PRECEDING))
SELECT business_date, site, CASE WHEN entry IS NULL THEN 'total'
            ELSE (ARRAY['issued', 'returned', 'collected', 'refunded', 'fees', 'tax', 'stock', 'other'])[number] END,
       entry, kind, event_id, reference, cup_type,
       CASE WHEN entry IS NULL THEN CASE WHEN $5::integer <= 2 THEN all_cups END ELSE cups END,
       amount_text(CASE WHEN entry IS NULL THEN CASE WHEN $5::integer >= 3 THEN all_amount END ELSE amount END, decimals)
  FROM running CROSS JOIN scheme WHERE scheme.id = $1::integer
