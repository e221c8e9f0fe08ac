-- Which codes in the rows of fees are not known, as places from 0: of the participants $1, and of the cup types $2. An
-- empty code names nothing.
SELECT ARRAY(SELECT u.position - 1 FROM unnest($1::text[]) WITH ORDINALITY AS u(code, position)
              WHERE u.code <> '' AND NOT EXISTS (SELECT FROM participant p WHERE p.code = u.code) ORDER BY u.position),
       ARRAY(SELECT u.position - 1 FROM unnest($2::text[]) WITH ORDINALITY AS u(code, position)
              WHERE u.code <> '' AND NOT EXISTS (SELECT FROM cup_type c WHERE c.code = u.code) ORDER BY u.position)
