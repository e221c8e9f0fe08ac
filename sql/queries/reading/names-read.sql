-- The names of sites $1, participants $2 and cup types $3, each list in the order of its ids, one after the other.
SELECT name
  FROM (SELECT 1 AS list, a.place, s.name
          FROM unnest($1::integer[]) WITH ORDINALITY AS a(id, place) LEFT JOIN site s ON s.id = a.id
        UNION ALL
        SELECT 2, a.place, p.name
          FROM unnest($2::integer[]) WITH ORDINALITY AS a(id, place) LEFT JOIN participant p ON p.id = a.id
        UNION ALL
        SELECT 3, a.place, c.name
          FROM unnest($3::integer[]) WITH ORDINALITY AS a(id, place) LEFT JOIN cup_type c ON c.id = a.id) AS named
 ORDER BY list, place
