-- The positions of day $2 of scheme $1.
INSERT INTO position (scheme, business_date, participant, amount, arrears, carried, carried_since)
SELECT $1::integer, $2::date, p.participant, p.amount, p.arrears, p.carried, CASE WHEN p.small THEN p.small_since END
  FROM unnest($3::integer[], $4::bigint[], $5::bigint[], $6::boolean[], $7::boolean[], $8::date[])
       AS p(participant, amount, arrears, carried, small, small_since)
