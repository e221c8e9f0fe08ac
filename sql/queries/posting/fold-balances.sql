-- Adds the recent movements of scheme $1 to its balances.
INSERT INTO balance AS b (scheme, account, business_date, movement)
SELECT scheme, account, business_date, sum(movement)::bigint
  FROM recent_balance WHERE scheme = $1::integer
 GROUP BY scheme, account, business_date
    ON CONFLICT (scheme, account, business_date) DO UPDATE SET movement = b.movement + excluded.movement
