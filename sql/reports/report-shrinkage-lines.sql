-- The entries that a figure of shrinkage sums, then their sum, if one figure is asked for. $1 scheme, $2 first and $3
-- last business day, $4 site (null: all), $5 cup type (null: all), $6 what (null: all; 1 missing, 2 found, 3 lost, 4
-- all of them, with their sum, 5 lost, without a site).
WITH listed AS (
    SELECT l.* FROM shrinkage_lines($1::integer, $2::date, $3::date) AS l
     WHERE ($4::integer IS NULL OR l.site = $4) AND ($5::integer IS NULL OR l.cup_type = $5)
       AND ($6::integer IS NULL OR $6 = 4 OR l.what = (ARRAY['missing', 'found', 'lost', NULL, 'lost'])[$6])
       AND ($6::integer IS DISTINCT FROM 5 OR l.site IS NULL)),
shown AS (
    SELECT l.business_date, t.code AS site, c.code AS cup_type, l.what, l.entry, k.word, l.event::json ->> 'event_id' AS event_id,
           l.cups::numeric AS cups, l.amount
      FROM listed l JOIN cup_type c ON c.id = l.cup_type JOIN entry_kind k ON k.kind = l.kind LEFT JOIN site t ON t.id = l.site
    UNION ALL
    SELECT NULL, NULL, NULL, 'total', NULL, NULL, NULL, coalesce(sum(cups), 0), coalesce(sum(amount), 0)
      FROM listed WHERE $6 IS NOT NULL HAVING $6 IS NOT NULL)
SELECT business_date, site, cup_type, what, entry, word, event_id, shown.cups, amount_text(amount, s.decimals)
  FROM shown JOIN scheme s ON s.id = $1::integer
 ORDER BY entry NULLS LAST, cup_type COLLATE "C"
