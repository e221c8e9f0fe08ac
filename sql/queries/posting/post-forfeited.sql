-- Adds to the cups of types $2 that are forfeited in scheme $1.
INSERT INTO forfeited AS f (scheme, cup_type, cups)
SELECT $1::integer, m.cup_type, sum(m.cups)
  FROM unnest($2::integer[], $3::bigint[]) AS m(cup_type, cups)
 GROUP BY m.cup_type
    ON CONFLICT (scheme, cup_type) DO UPDATE SET cups = f.cups + excluded.cups
