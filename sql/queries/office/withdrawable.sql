-- The amount that the operator of scheme $1 could take out of the pool on day $2 without touching money of others.
-- Below zero, that much is missing.
SELECT coalesce(sum(counted), 0)::bigint FROM withdrawable_steps($1::integer, $2::date)
