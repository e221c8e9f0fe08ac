-- Cups and grams retired, to be made into new things, against those supplied, per cup type; where the cups are at the
-- end; the batches that went to re-makers, and the new cups that came back; the rate of the loop. $1 scheme, $2 first
-- and $3 last business day. Grams are those that were weighed at retirement, and of the other cups those of their
-- type.
WITH done AS (
    SELECT cup_type, sum(supplied) AS supplied, sum(retired) AS retired, sum(weighed) AS weighed, sum(weighed_g) AS weighed_g,
           sum(issued) AS issued, sum(returned) AS returned
      FROM cup_days($1::integer, $2::date, $3::date) GROUP BY 1),
stands AS (
    SELECT cup_type, sum(amount) FILTER (WHERE kind IN (:account_site_stock, :account_in_transit)) AS in_service,
           sum(amount) FILTER (WHERE kind = :account_with_customers) AS with_customers,
           sum(amount) FILTER (WHERE kind = :account_unaccounted) AS lost
      FROM kinds_through($1::integer, $3::date) GROUP BY 1),
sent AS (
    SELECT l.cup_type, count(*) AS batches, sum(l.quantity) AS batched
      FROM remaking_batch b JOIN remaking_batch_line l ON l.scheme = b.scheme AND l.number = b.number
     WHERE b.scheme = $1::integer AND b.sent_on BETWEEN $2 AND $3
       AND NOT EXISTS (SELECT FROM remaking_batch_withdrawal w WHERE w.scheme = b.scheme AND w.number = b.number)
     GROUP BY 1),
remade AS (SELECT cup_type, sum(cups) AS cups FROM remade_of($1::integer, $2::date, $3::date) GROUP BY 1)
SELECT c.code, coalesce(supplied, 0), coalesce(supplied, 0) * c.mass_g, coalesce(retired, 0), coalesce(weighed, 0),
       coalesce(weighed_g + (retired - weighed) * c.mass_g, 0),
       CASE WHEN supplied > 0 THEN round(retired / supplied, 4) END,
       CASE WHEN supplied > 0 THEN round((weighed_g + (retired - weighed) * c.mass_g) / (supplied * c.mass_g), 4) END,
       format('retired(%s)', c.code),
       coalesce(stands.in_service, 0), coalesce(stands.with_customers, 0), coalesce(stands.lost, 0),
       coalesce(sent.batches, 0), coalesce(sent.batched, 0), coalesce(remade.cups, 0),
       CASE WHEN issued > 0 THEN round(returned / issued, 4) END, rate_text(s.return_target_ppm)
  FROM cup_type c
  JOIN scheme s ON s.id = $1::integer
  LEFT JOIN done ON done.cup_type = c.id
  LEFT JOIN stands ON stands.cup_type = c.id
  LEFT JOIN sent ON sent.cup_type = c.id
  LEFT JOIN remade ON remade.cup_type = c.id
 WHERE supplied <> 0 OR retired <> 0 OR sent.batches <> 0 OR remade.cups <> 0
 ORDER BY c.code COLLATE "C"
