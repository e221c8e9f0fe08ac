-- Adds the recent movements of the schemes $1 to their balances.
INSERT INTO balance AS b (scheme, account, business_date, movement)
SELECT scheme, account, business_date, sum(movement)::bigint
  FROM recent_balance WHERE scheme = ANY ($1::integer[])
 GROUP BY scheme, account, business_date
    ON CONFLICT (scheme, account, business_date) DO UPDATE SET movement = b.movement + excluded.movement
