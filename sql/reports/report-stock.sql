-- Where the cups are: at each site, and outside sites. $1 scheme, $2 business day, $3 the sites to show (null: all, and
-- what is outside).
WITH stands AS (
    SELECT k.word AS place, account_owner(b.account) AS owner, account_cup_type(b.account) AS cup_type, b.amount
      FROM balances_through($1::integer, $2::date) AS b
      JOIN account_kind k ON k.kind = account_kind_of(b.account) AND k.class IN ('cups', 'source')
     WHERE $3::integer[] IS NULL OR account_owner(b.account) = ANY ($3)),
line AS (
    SELECT s.code AS site, NULL AS place, cup_type,
           coalesce(sum(amount) FILTER (WHERE stands.place = 'site_stock'), 0) AS sound,
           coalesce(sum(amount) FILTER (WHERE stands.place = 'damaged'), 0) AS damaged,
           coalesce(sum(greatest(-amount, 0)), 0) AS negative
      FROM stands JOIN site s ON s.id = owner
     GROUP BY 1, 3
    UNION ALL
    SELECT NULL, place, cup_type, amount, NULL, CASE WHEN place NOT IN ('supply', 'unaccounted') THEN greatest(-amount, 0) END
      FROM stands WHERE owner = 0)
SELECT site, place, c.code, sound, damaged, negative
  FROM line JOIN cup_type c ON c.id = cup_type
 ORDER BY site COLLATE "C" NULLS LAST,
          array_position(ARRAY['with_customers', 'in_transit', 'retired', 'unaccounted', 'supply'], place), c.code COLLATE "C"
