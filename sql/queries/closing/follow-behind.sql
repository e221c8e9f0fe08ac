-- The pairs of home and host with entries of the host that the home has still to follow. Those after home $1 and host
-- $2 come first.
SELECT p.home, p.host
  FROM following_place p
 WHERE EXISTS (SELECT FROM agreed_amount a
                WHERE a.scheme = p.host AND a.home = p.home AND a.host = p.host AND a.entry > p.entry)
 ORDER BY (p.home, p.host) <= ($1::integer, $2::integer), p.home, p.host
