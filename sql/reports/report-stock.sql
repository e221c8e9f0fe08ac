-- Where the cups are: at each site, with the day of its last count, and outside sites; then, if asked for, the sums
-- over cup types of each place. $1 scheme, $2 business day, $3 the sums 1: shown, 2: left out (null: the same), $4
-- the sites to show (null: all, and the places outside the sites).
WITH stands AS (
    SELECT k.word AS place, b.account, account_owner(b.account) AS owner, account_cup_type(b.account) AS cup_type, b.amount
      FROM balances_through($1::integer, $2::date) AS b
      JOIN account_kind k ON k.kind = account_kind_of(b.account) AND k.class IN ('cups', 'source')
     WHERE $4::integer[] IS NULL OR account_owner(b.account) = ANY ($4)),
line AS (
    SELECT s.code AS site, s.id, NULL AS place, NULL::bigint AS account, cup_type,
           coalesce(sum(amount) FILTER (WHERE stands.place = 'site_stock'), 0) AS sound,
           coalesce(sum(amount) FILTER (WHERE stands.place = 'damaged'), 0) AS damaged,
           coalesce(sum(greatest(-amount, 0)), 0) AS negative
      FROM stands JOIN site s ON s.id = owner WHERE stands.place IN ('site_stock', 'damaged')
     GROUP BY 1, 2, 5
    UNION ALL
    SELECT NULL, NULL, place, account, cup_type, amount, NULL,
           CASE WHEN place NOT IN ('supply', 'unaccounted', 'visiting') THEN greatest(-amount, 0) END
      FROM stands WHERE place NOT IN ('site_stock', 'damaged')),
shown AS (
    SELECT false AS is_total, line.* FROM line
    UNION ALL
    SELECT true, 'total', NULL, place, NULL, NULL, sum(sound), sum(damaged), sum(negative) FROM line WHERE $3::integer = 1 GROUP BY place)
SELECT site, place, c.code, sound, damaged, negative, counted.business_date, $2 - counted.business_date,
       CASE WHEN is_total THEN NULL WHEN site IS NULL THEN account_name(line.account)
            ELSE format('site_stock(%s,%s)', site, c.code) END
  FROM shown AS line LEFT JOIN cup_type c ON c.id = cup_type
  LEFT JOIN LATERAL ( -- a count that changed nothing has no leg: the event names the types that were counted
       SELECT e.business_date FROM entry e
        WHERE e.site = line.id AND e.kind = :kind_count AND e.business_date <= $2
          AND strpos(e.event, format('"cup_type":"%s"', c.code)) > 0
          AND NOT EXISTS (SELECT FROM entry_reference r
                           WHERE r.scheme = $1::integer AND r.referred = e.entry AND r.kind = :kind_reversal)
        ORDER BY e.entry DESC LIMIT 1) counted ON true
 ORDER BY is_total, site COLLATE "C" NULLS LAST,
          array_position(ARRAY['with_customers', 'in_transit', 'retired', 'unaccounted', 'supply', 'abroad', 'visiting'], place),
          c.code COLLATE "C", line.account
