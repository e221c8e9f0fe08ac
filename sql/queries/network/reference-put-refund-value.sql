-- Makes or changes values of cup types from a business day on; a row where nothing changes stays as it is. Arrays, with
-- an element for each: $1 the scheme's code, $2 the cup type's, $3 effective_date, $4 amount in minor units. Gives the
-- places, from 0, of those that differ.
WITH given AS MATERIALIZED (
    SELECT g.place, s.id AS scheme, c.id AS cup_type, g.effective_date, g.amount
      FROM unnest($1::text[], $2::text[], $3::date[], $4::bigint[]) WITH ORDINALITY
           AS g(scheme, cup_type, effective_date, amount, place)
      JOIN scheme s ON s.code = g.scheme
      JOIN cup_type c ON c.code = g.cup_type),
put AS (
    INSERT INTO refund_value AS held (scheme, cup_type, effective_date, amount)
    SELECT scheme, cup_type, effective_date, amount FROM given ORDER BY place
    ON CONFLICT (scheme, cup_type, effective_date) DO UPDATE SET amount = excluded.amount WHERE held.amount <> excluded.amount
    RETURNING scheme, cup_type, effective_date)
SELECT given.place - 1 FROM put JOIN given USING (scheme, cup_type, effective_date) ORDER BY given.place
