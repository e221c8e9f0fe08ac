-- All entries with their legs, in entry order; an entry that moves nothing has a line without account. $1
-- scheme, $2 first and $3 last business day, $4 site (null: all), $5 the entry to go on after (null: from the
-- first). Entries are read, joined and sorted some thousand at a time: the first row comes at once, and no
-- sort grows with the report. The outer loop is over numbers in order, which no plan can turn round.
WITH known AS MATERIALIZED (
    SELECT a.account, k.word || coalesce('(' || nullif(concat_ws(',', s.code, p.code, account_schemes(a.account), c.code), '') || ')', '') AS name, unit.code AS unit
      FROM accounts_of($1::integer) AS a(account)
      JOIN account_kind k ON k.kind = account_kind_of(a.account)
      LEFT JOIN site s ON k.scope IN ('site', 'site_cup_type') AND s.id = account_owner(a.account)
      LEFT JOIN participant p ON k.scope = 'participant' AND p.id = account_owner(a.account)
      LEFT JOIN cup_type c ON c.id = nullif(account_cup_type(a.account), 0)
      LEFT JOIN cup_type unit ON unit.id = account_unit(a.account))
SELECT line.*
  FROM (SELECT greatest(min(first_entry), $5::bigint + 1) AS first, max(last_entry) AS last FROM business_day
         WHERE scheme = $1::integer AND business_date BETWEEN $2::date AND $3::date) AS span
 CROSS JOIN scheme
 CROSS JOIN LATERAL generate_series(span.first, span.last, 4096) AS step(first)
 CROSS JOIN LATERAL (
       SELECT e.entry, e.business_date, k.word, s.code AS site, e.event_id, known.name,
              CASE WHEN known.name IS NOT NULL THEN coalesce(known.unit, currency) END,
              CASE WHEN l.amount > 0 THEN CASE WHEN known.unit IS NULL THEN amount_text(l.amount, decimals) ELSE l.amount::text END END,
              CASE WHEN l.amount < 0 THEN CASE WHEN known.unit IS NULL THEN amount_text(-l.amount, decimals) ELSE (-l.amount)::text END END
         FROM (SELECT entry, business_date, kind, site, event::json ->> 'event_id' AS event_id, accounts, amounts FROM entry
                WHERE $4::integer IS NULL AND entry.scheme = $1::integer AND entry BETWEEN step.first AND step.first + 4095
                  AND business_date BETWEEN $2 AND $3
               UNION ALL
               SELECT entry, business_date, kind, site, event::json ->> 'event_id', accounts, amounts FROM entry
                WHERE site = $4 AND entry.scheme = $1::integer AND entry BETWEEN step.first AND step.first + 4095
                  AND business_date BETWEEN $2 AND $3
               OFFSET 0) AS e
         JOIN entry_kind k USING (kind)
         LEFT JOIN site s ON s.id = e.site
         LEFT JOIN LATERAL unnest(e.accounts, e.amounts) WITH ORDINALITY AS l(account, amount, position) ON true
         LEFT JOIN known USING (account)
        ORDER BY e.entry, l.position) AS line
 WHERE scheme.id = $1::integer
