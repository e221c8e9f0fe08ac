-- Which codes are not known, as places from 0: of the participants $1, and of the cup types $2. An empty code names
-- nothing.
SELECT ARRAY(SELECT u.place - 1 FROM unnest($1::text[]) WITH ORDINALITY AS u(code, place)
              WHERE u.code <> '' AND u.code NOT IN (SELECT code FROM participant) ORDER BY u.place),
       ARRAY(SELECT u.place - 1 FROM unnest($2::text[]) WITH ORDINALITY AS u(code, place)
              WHERE u.code <> '' AND u.code NOT IN (SELECT code FROM cup_type) ORDER BY u.place)
