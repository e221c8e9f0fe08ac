-- Cups and grams retired, to be made into new things, against those supplied, per cup type. $1 scheme, $2 first and $3
-- last business day. Grams are those that were weighed at retirement, and of the other cups those of their type.
WITH done AS (
    SELECT cup_type, sum(supplied) AS supplied, sum(retired) AS retired, sum(weighed) AS weighed, sum(weighed_g) AS weighed_g
      FROM cup_days($1::integer, $2::date, $3::date) GROUP BY 1
    HAVING bool_or(supplied <> 0 OR retired <> 0))
SELECT c.code, supplied, supplied * c.mass_g, retired, weighed, weighed_g + (retired - weighed) * c.mass_g,
       CASE WHEN supplied > 0 THEN round(retired / supplied, 4) END,
       CASE WHEN supplied > 0 THEN round((weighed_g + (retired - weighed) * c.mass_g) / (supplied * c.mass_g), 4) END,
       format('retired(%s)', c.code)
  FROM done JOIN cup_type c ON c.id = cup_type
 ORDER BY c.code COLLATE "C"
