-- What the operator of scheme $1 could take out of the pool without touching money of others, on day $2; below zero: that lacks.
SELECT coalesce(sum(counted), 0)::bigint FROM withdrawable_steps($1::integer, $2::date)
