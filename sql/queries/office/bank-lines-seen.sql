-- Which of the identities $2 lines of scheme $1 have: their places, from 0.
SELECT array_agg(i.place - 1)
  FROM unnest($2::bytea[]) WITH ORDINALITY AS i(identity, place)
  JOIN bank_line l ON l.scheme = $1::integer AND l.identity = i.identity
