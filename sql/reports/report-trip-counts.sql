-- How many cups with identity made how many trips, by cup type: of the cups that were issued on business days $2
-- through $3 of scheme $1, trips that began on these days. $4 cup type (null: all). The report trips says what a
-- trip is.
WITH issue AS MATERIALIZED (
    SELECT s.*, account_cup_type(s.went_to) AS cup_type, c.code AS scheme_code
      FROM sighting s JOIN scheme c ON c.id = s.scheme
     WHERE s.scheme = $1::integer AND s.business_date BETWEEN $2::date AND $3::date AND s.reversed_by IS NULL
       AND s.kind IN (:kind_issue, :kind_exchange) AND account_kind_of(s.went_to) = :account_with_customers
       AND ($4::integer IS NULL OR account_cup_type(s.went_to) = $4::integer)),
each AS (
    SELECT i.cup_type, i.cup, count(*) FILTER (WHERE n.is_return) AS trips
      FROM issue i
      LEFT JOIN LATERAL (
           SELECT account_kind_of(n.went_to) <> :account_with_customers AS is_return
             FROM sighting n JOIN scheme c ON c.id = n.scheme
            WHERE n.cup = i.cup AND n.reversed_by IS NULL AND n.kind IN (:kinds_counter) AND n.occurred_at >= i.occurred_at
              AND (n.occurred_at, c.code COLLATE "C", n.entry, n.position) > (i.occurred_at, i.scheme_code COLLATE "C", i.entry, i.position)
            ORDER BY n.occurred_at, c.code COLLATE "C", n.entry, n.position LIMIT 1) n ON true
     GROUP BY 1, 2)
SELECT t.code, e.trips, count(*), round(count(*) / sum(count(*)) OVER (PARTITION BY t.code), 4)
  FROM each e JOIN cup_type t ON t.id = e.cup_type
 GROUP BY t.code, e.trips
 ORDER BY t.code COLLATE "C", e.trips
