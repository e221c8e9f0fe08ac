-- The facts that making a key depends on. $1: its name, $2: its participant's code, $3: its sites' codes.
-- Exactly one row: whether the name is taken; whether the participant is known; which of the sites are not,
-- from 0.
SELECT EXISTS (SELECT FROM api_key WHERE name = $1::text AND revoked_at IS NULL),
       EXISTS (SELECT FROM participant WHERE code = $2::text),
       ARRAY(SELECT u.position - 1 FROM unnest($3::text[]) WITH ORDINALITY AS u(code, position)
              WHERE NOT EXISTS (SELECT FROM site s WHERE s.code = u.code) ORDER BY u.position)
