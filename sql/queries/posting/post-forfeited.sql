-- Adds to the cups of types $2 that are forfeited in the schemes $1.
INSERT INTO forfeited AS f (scheme, cup_type, cups)
SELECT m.scheme, m.cup_type, sum(m.cups)
  FROM unnest($1::integer[], $2::integer[], $3::bigint[]) AS m(scheme, cup_type, cups)
 GROUP BY m.scheme, m.cup_type
    ON CONFLICT (scheme, cup_type) DO UPDATE SET cups = f.cups + excluded.cups
