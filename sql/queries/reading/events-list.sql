-- A slice of entries, each as JSON, with its number. $1 scheme, after entry $2, through entry $3, at most $4;
-- null where there is no such filter: $5 the sites to show, $6 site, $7 kind, $8 first and $9 last business day,
-- $10 reference, $11 whether it is late. $12 whether $7 is a kind that is rare. Each part of the slice reads an index
-- that has what it looks for, and all but one of the parts read nothing: a site's entries, late ones, and those of a
-- kind that is rare, have indexes of their own. scheme + 0: late entries of a site are not to be found among those of
-- its scheme.
WITH of_scheme AS (SELECT decimals FROM scheme WHERE id = $1::integer),
slice AS (
    (SELECT entry, business_date, late, recorded_at, kind, site, event, accounts, amounts FROM entry
      WHERE $6::integer IS NULL AND NOT coalesce($11::boolean, false) AND NOT $12::boolean
        AND scheme = $1::integer AND entry > $2::bigint AND entry <= $3::bigint
        AND ($5::integer[] IS NULL OR site = ANY ($5))
        AND ($7::integer IS NULL OR kind = $7)
        AND ($8::date IS NULL OR business_date >= $8) AND ($9::date IS NULL OR business_date <= $9)
        AND ($10::text IS NULL OR strpos(event, '"reference":' || to_json($10)) > 0)
        AND ($11::boolean IS NULL OR late = $11)
      ORDER BY entry :onward LIMIT $4::integer)
    UNION ALL
    (SELECT entry, business_date, late, recorded_at, kind, site, event, accounts, amounts FROM entry
      WHERE $6::integer IS NOT NULL AND site = $6 AND NOT coalesce($11::boolean, false) AND NOT $12::boolean
        AND scheme = $1::integer AND entry > $2::bigint AND entry <= $3::bigint
        AND ($5::integer[] IS NULL OR site = ANY ($5))
        AND ($7::integer IS NULL OR kind = $7)
        AND ($8::date IS NULL OR business_date >= $8) AND ($9::date IS NULL OR business_date <= $9)
        AND ($10::text IS NULL OR strpos(event, '"reference":' || to_json($10)) > 0)
        AND ($11::boolean IS NULL OR late = $11)
      ORDER BY entry :onward LIMIT $4::integer)
    UNION ALL
    (SELECT entry, business_date, late, recorded_at, kind, site, event, accounts, amounts FROM entry
      WHERE $6::integer IS NULL AND $11::boolean AND late
        AND scheme = $1::integer AND entry > $2::bigint AND entry <= $3::bigint
        AND ($5::integer[] IS NULL OR site = ANY ($5))
        AND ($7::integer IS NULL OR kind = $7)
        AND ($8::date IS NULL OR business_date >= $8) AND ($9::date IS NULL OR business_date <= $9)
        AND ($10::text IS NULL OR strpos(event, '"reference":' || to_json($10)) > 0)
        AND ($11::boolean IS NULL OR late = $11)
      ORDER BY entry :onward LIMIT $4::integer)
    UNION ALL
    (SELECT entry, business_date, late, recorded_at, kind, site, event, accounts, amounts FROM entry
      WHERE $6::integer IS NOT NULL AND site = $6 AND $11::boolean AND late
        AND scheme + 0 = $1::integer AND entry > $2::bigint AND entry <= $3::bigint
        AND ($5::integer[] IS NULL OR site = ANY ($5))
        AND ($7::integer IS NULL OR kind = $7)
        AND ($8::date IS NULL OR business_date >= $8) AND ($9::date IS NULL OR business_date <= $9)
        AND ($10::text IS NULL OR strpos(event, '"reference":' || to_json($10)) > 0)
        AND ($11::boolean IS NULL OR late = $11)
      ORDER BY entry :onward LIMIT $4::integer)
    UNION ALL
    (SELECT entry, business_date, late, recorded_at, kind, site, event, accounts, amounts FROM entry
      WHERE $6::integer IS NULL AND NOT coalesce($11::boolean, false)
        AND $12 AND kind > :kind_exchange AND kind = $7::integer
        AND scheme = $1::integer AND entry > $2::bigint AND entry <= $3::bigint
        AND ($5::integer[] IS NULL OR site = ANY ($5))
        AND ($8::date IS NULL OR business_date >= $8) AND ($9::date IS NULL OR business_date <= $9)
        AND ($10::text IS NULL OR strpos(event, '"reference":' || to_json($10)) > 0)
        AND ($11::boolean IS NULL OR late = $11)
      ORDER BY entry :onward LIMIT $4::integer)
    UNION ALL
    (SELECT entry, business_date, late, recorded_at, kind, site, event, accounts, amounts FROM entry
      WHERE $6::integer IS NOT NULL AND site = $6 AND NOT coalesce($11::boolean, false)
        AND $12 AND kind > :kind_exchange AND kind = $7::integer
        AND scheme = $1::integer AND entry > $2::bigint AND entry <= $3::bigint
        AND ($5::integer[] IS NULL OR site = ANY ($5))
        AND ($8::date IS NULL OR business_date >= $8) AND ($9::date IS NULL OR business_date <= $9)
        AND ($10::text IS NULL OR strpos(event, '"reference":' || to_json($10)) > 0)
        AND ($11::boolean IS NULL OR late = $11)
      ORDER BY entry :onward LIMIT $4::integer)),
legs AS (
    SELECT entry, json_agg(json_build_object(
               'account', k.word || coalesce('(' || nullif(concat_ws(',', s.code, p.code, account_schemes(l.account), c.code), '') || ')', ''),
               CASE WHEN l.account >> 48 < :account_first_cups THEN 'amount' ELSE 'cups' END,
               CASE WHEN l.account >> 48 < :account_first_cups THEN to_json(amount_text(l.amount, decimals))
                    ELSE to_json(l.amount) END)
               ORDER BY l.position) AS items
      FROM slice CROSS JOIN of_scheme
     CROSS JOIN unnest(accounts, amounts) WITH ORDINALITY AS l(account, amount, position)
      JOIN account_kind k ON k.kind = account_kind_of(l.account)
      LEFT JOIN site s ON k.scope IN ('site', 'site_cup_type') AND s.id = account_owner(l.account)
      LEFT JOIN participant p ON k.scope = 'participant' AND p.id = account_owner(l.account)
      LEFT JOIN cup_type c ON c.id = nullif(account_cup_type(l.account), 0)
     GROUP BY entry),
-- Of an entry of a site, its movement of the site's clearing. Of a counter's event, the price of its cups by the
-- tariff: the stated amount less the difference that an exception has, or else the money that the till took. A return's
-- price is the money that is paid out, as its stated amount is.
money AS (
    SELECT s.entry, moved.clearing, CASE WHEN s.kind IN (:kinds_counter) THEN coalesce(
               round((s.event::json ->> 'amount')::numeric * power(10::numeric, decimals))
               - till.sign * coalesce((SELECT sum(x.amount) FROM exception x
                                        WHERE (x.scheme, x.entry) = ($1::integer, s.entry) AND x.kind = 'off_tariff'), 0),
               till.sign * coalesce(moved.taken, 0)) END AS tariff
      FROM slice s CROSS JOIN of_scheme
     CROSS JOIN LATERAL (SELECT CASE s.kind WHEN :kind_return THEN -1 ELSE 1 END AS sign) AS till
     CROSS JOIN LATERAL (
           SELECT sum(l.amount) FILTER (WHERE l.account = account_of(:account_site_clearing, s.site, 0)) AS clearing,
                  sum(l.amount) FILTER (WHERE l.account >> 48 IN (:account_stock_deposits, :account_site_clearing)) AS taken
             FROM unnest(s.accounts, s.amounts) AS l(account, amount)) AS moved)
SELECT json_strip_nulls(json_build_object(
           'entry', entry, 'business_date', business_date, 'late', late, 'recorded_at', instant_text(recorded_at),
           'kind', k.word, 'event', event::json, 'agreed',
           CASE WHEN $5::integer[] IS NULL AND kind IN (:kind_return, :kind_exchange, :kind_reversal, :kind_return_abroad, :kind_reversal_abroad)
                THEN agreed_text($1::integer, entry)::json END,
           'follows', CASE WHEN kind IN (:kind_return_abroad, :kind_reversal_abroad) THEN followed_text($1::integer, entry)::json END,
           'tariff', amount_text(tariff, decimals),
           'clearing', amount_text(clearing, decimals), 'legs', coalesce(items, '[]'))),
       entry
  FROM slice CROSS JOIN of_scheme JOIN entry_kind k USING (kind) LEFT JOIN legs USING (entry) LEFT JOIN money USING (entry)
 ORDER BY entry :onward
