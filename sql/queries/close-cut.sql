-- From here on day $2 of scheme $1 takes no more events.
UPDATE business_day SET state = 'closing' WHERE scheme = $1::integer AND business_date = $2::date AND state = 'open'
