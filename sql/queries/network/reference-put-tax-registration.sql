-- Makes or changes participants' registrations for tax from a date on; a row where nothing changes stays as it is.
-- Arrays, with an element for each: $1 the participant's code, $2 effective_date, $3 tax_registered. Gives the places,
-- from 0, of those that differ.
WITH given AS MATERIALIZED (
    SELECT g.place, p.id AS participant, g.effective_date, g.tax_registered
      FROM unnest($1::text[], $2::date[], $3::boolean[]) WITH ORDINALITY AS g(participant, effective_date, tax_registered, place)
      JOIN participant p ON p.code = g.participant),
put AS (
    INSERT INTO tax_registration AS held (participant, effective_date, tax_registered)
    SELECT participant, effective_date, tax_registered FROM given ORDER BY place
    ON CONFLICT (participant, effective_date) DO UPDATE
       SET tax_registered = excluded.tax_registered
     WHERE held.tax_registered <> excluded.tax_registered
    RETURNING participant, effective_date)
SELECT given.place - 1 FROM put JOIN given USING (participant, effective_date) ORDER BY given.place
