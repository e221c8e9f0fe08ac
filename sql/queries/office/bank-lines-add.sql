-- Keeps the lines of statement $2 of scheme $1, numbered on from $3; an entry of 0 is none. Lines that paid what homes
-- $15 owed (0: none) also say how much of the agreed amount $16 that was, and in the books $17; their entries post to
-- $14.
WITH told AS (
    SELECT $3::bigint + position AS line, l.*
      FROM unnest($4::date[], $5::bigint[], $6::text[], $7::text[], $8::boolean[], $9::text[], $10::text[], $11::text[],
                  $12::text[], $13::bigint[], $15::integer[], $16::bigint[], $17::bigint[])
           WITH ORDINALITY AS l(booked_on, amount, end_to_end, reference, returned, return_reason, identity, disposition,
                                payment_id, entry, home, agreed, booked, position)),
kept AS (
    INSERT INTO bank_line (scheme, statement, line, booked_on, amount, end_to_end, reference, returned, return_reason, identity,
                           disposition, payment_id, entry)
    SELECT $1::integer, $2::bigint, line, booked_on, amount, end_to_end, reference, returned, return_reason, decode(identity, 'hex'),
           disposition, payment_id, nullif(entry, 0)
      FROM told)
INSERT INTO between_booked (scheme, line, home, payment_id, business_date, agreed, booked)
SELECT $1::integer, line, home, payment_id, $14::date, agreed, booked FROM told WHERE home <> 0
