-- The entries of the business days $2 to $3 of scheme $1 come after the first number, and none comes after the second.
SELECT coalesce(min(first_entry) - 1, 0), coalesce(max(last_entry), 0) FROM business_day
 WHERE scheme = $1::integer AND business_date BETWEEN $2::date AND $3::date
