-- Moves accounts $2 of the schemes $1 in days $3 by $4.
INSERT INTO balance AS b (scheme, account, business_date, movement)
SELECT m.scheme, m.account, m.business_date, m.amount
  FROM unnest($1::integer[], $2::bigint[], $3::date[], $4::bigint[]) AS m(scheme, account, business_date, amount)
    ON CONFLICT (scheme, account, business_date) DO UPDATE SET movement = b.movement + excluded.movement
