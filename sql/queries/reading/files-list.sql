-- A slice of the files of day $2 of scheme $1, each as JSON, with its number: beyond $3, at most $4.
SELECT shown, number FROM payment_file_shown
 WHERE scheme = $1::integer AND business_date = $2::date AND number :beyond $3::bigint
 ORDER BY number :onward LIMIT $4::integer
