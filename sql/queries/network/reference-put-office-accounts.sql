-- Makes or changes the office's codes from business days on; a list where nothing changes stays as it is. Arrays, with
-- an element for each list: $1 the scheme's code, $2 effective_date. Of all accounts: $3 the place of the list, from 1,
-- $4 the number of the account, $5 its code, $6 its name. Gives the places, from 0, of the lists that differ.
WITH account AS MATERIALIZED (
    SELECT u.list, array_agg(u.account ORDER BY u.account) AS accounts, array_agg(u.code ORDER BY u.account) AS codes,
           array_agg(u.name ORDER BY u.account) AS names
      FROM unnest($3::bigint[], $4::bigint[], $5::text[], $6::text[]) AS u(list, account, code, name)
     GROUP BY u.list),
given AS MATERIALIZED (
    SELECT g.place, s.id AS scheme, g.effective_date, coalesce(a.accounts, '{}') AS accounts, coalesce(a.codes, '{}') AS codes,
           coalesce(a.names, '{}') AS names
      FROM unnest($1::text[], $2::date[]) WITH ORDINALITY AS g(scheme, effective_date, place)
      JOIN scheme s ON s.code = g.scheme
      LEFT JOIN account a ON a.list = g.place),
put AS (
    INSERT INTO office_accounts AS held (scheme, effective_date, accounts, codes, names)
    SELECT scheme, effective_date, accounts, codes, names FROM given ORDER BY place
    ON CONFLICT (scheme, effective_date) DO UPDATE
       SET accounts = excluded.accounts, codes = excluded.codes, names = excluded.names
     WHERE (held.accounts, held.codes, held.names) IS DISTINCT FROM (excluded.accounts, excluded.codes, excluded.names)
    RETURNING scheme, effective_date)
SELECT given.place - 1 FROM put JOIN given USING (scheme, effective_date) ORDER BY given.place
