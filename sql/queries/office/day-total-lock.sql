-- Lets one at a time say the totals of site $2 of scheme $1, and tells whether business day $3 has begun.
SELECT EXISTS (SELECT FROM business_day WHERE scheme = $1::integer AND business_date = $3::date AND starts_at <= now())
  FROM site WHERE id = $2::integer FOR NO KEY UPDATE
