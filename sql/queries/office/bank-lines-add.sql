-- Keeps the lines of statement $2 of scheme $1, numbered on from $3; an entry of 0 is none.
INSERT INTO bank_line (scheme, statement, line, booked_on, amount, end_to_end, reference, returned, return_reason, identity,
                       disposition, payment_id, entry)
SELECT $1::integer, $2::bigint, $3::bigint + position, booked_on, amount, end_to_end, reference, returned, return_reason,
       decode(identity, 'hex'), disposition, payment_id, nullif(entry, 0)
  FROM unnest($4::date[], $5::bigint[], $6::text[], $7::text[], $8::boolean[], $9::text[], $10::text[], $11::text[],
              $12::text[], $13::bigint[])
       WITH ORDINALITY AS l(booked_on, amount, end_to_end, reference, returned, return_reason, identity, disposition, payment_id,
                            entry, position)
