-- A slice of entries, each as JSON, with its number. $1 scheme, after entry $2, through entry $3, at most $4;
-- null where there is no such filter: $5 the sites to show, $6 site, $7 kind, $8 first and $9 last business day,
-- $10 reference. A site's entries are found by its index. One of the two parts reads nothing.
WITH of_scheme AS (SELECT decimals FROM scheme WHERE id = $1::integer),
slice AS (
    (SELECT entry, business_date, late, recorded_at, kind, event, accounts, amounts FROM entry
      WHERE $6::integer IS NULL AND scheme = $1::integer AND entry > $2::bigint AND entry <= $3::bigint
        AND ($5::integer[] IS NULL OR site = ANY ($5))
        AND ($7::integer IS NULL OR kind = $7)
        AND ($8::date IS NULL OR business_date >= $8) AND ($9::date IS NULL OR business_date <= $9)
        AND ($10::text IS NULL OR strpos(event, '"reference":' || to_json($10)) > 0)
      ORDER BY entry :onward LIMIT $4::integer)
    UNION ALL
    (SELECT entry, business_date, late, recorded_at, kind, event, accounts, amounts FROM entry
      WHERE site = $6::integer AND scheme = $1::integer AND entry > $2::bigint AND entry <= $3::bigint
        AND ($5::integer[] IS NULL OR site = ANY ($5))
        AND ($7::integer IS NULL OR kind = $7)
        AND ($8::date IS NULL OR business_date >= $8) AND ($9::date IS NULL OR business_date <= $9)
        AND ($10::text IS NULL OR strpos(event, '"reference":' || to_json($10)) > 0)
      ORDER BY entry :onward LIMIT $4::integer)),
legs AS (
    SELECT entry, json_agg(json_build_object(
               'account', k.word || coalesce('(' || nullif(concat_ws(',', s.code, p.code, c.code), '') || ')', ''),
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
     GROUP BY entry)
SELECT json_strip_nulls(json_build_object(
           'entry', entry, 'business_date', business_date, 'late', late, 'recorded_at', instant_text(recorded_at),
           'kind', k.word, 'event', event::json, 'legs', coalesce(items, '[]'))),
       entry
  FROM slice JOIN entry_kind k USING (kind) LEFT JOIN legs USING (entry)
 ORDER BY entry :onward
