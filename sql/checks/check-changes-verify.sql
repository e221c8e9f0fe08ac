-- Check: the changes of reference data and keys are a chain without a gap, and each thing is now as its last
-- change left it. $1 scheme; changes of the whole network are examined with the first scheme.
WITH mine AS (
    SELECT c AS change, p.digest AS previous
      FROM reference_change c LEFT JOIN reference_change p ON p.number = c.number - 1
     WHERE c.scheme = $1::integer OR c.scheme IS NULL AND $1::integer = (SELECT min(id) FROM scheme)),
last AS (
    SELECT DISTINCT ON ((change).of_what, (change).subject, (change).name) (change).*
      FROM mine ORDER BY (change).of_what, (change).subject, (change).name, (change).number DESC),
present AS (
    SELECT * FROM reference_state
     WHERE scheme = $1::integer OR scheme IS NULL AND $1::integer = (SELECT min(id) FROM scheme)),
examined AS (
    SELECT 1 AS part, (change).number, format('change %s does not follow the one before it', (change).number) AS what,
           (change).digest IS DISTINCT FROM change_digest(previous, change) AS is_broken
      FROM mine
    UNION ALL
    SELECT 2, number, format('%s %s was changed past the service: change %s', of_what, name, number), way = 'database'
      FROM last
    UNION ALL
    SELECT 3, l.number, format('%s %s is not what its last change left', of_what, name),
           (p.state, p.secret) IS DISTINCT FROM (l.after, l.secret)
      FROM last l FULL JOIN present p USING (of_what, subject, name))
SELECT count(*), count(*) FILTER (WHERE is_broken),
       first_lines(array_agg(what ORDER BY number, part) FILTER (WHERE is_broken))
  FROM examined
