-- The last step of the close of day $2 of scheme $1.
UPDATE business_day SET state = 'closed' WHERE scheme = $1::integer AND business_date = $2::date AND state = 'closing'
