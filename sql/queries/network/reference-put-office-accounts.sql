-- Makes or changes the office's codes from a business day on; touches no row when nothing changes. $1: the scheme's
-- code, $2: effective_date, $3: numbers of accounts, $4: their codes, $5: their names.
MERGE INTO office_accounts AS held
USING (SELECT s.id AS scheme, $2::date AS effective_date, coalesce(sorted.accounts, '{}') AS accounts,
              coalesce(sorted.codes, '{}') AS codes, coalesce(sorted.names, '{}') AS names
         FROM scheme s
        CROSS JOIN (SELECT array_agg(u.account ORDER BY u.account) AS accounts, array_agg(u.code ORDER BY u.account) AS codes,
                           array_agg(u.name ORDER BY u.account) AS names
                      FROM unnest($3::bigint[], $4::text[], $5::text[]) AS u(account, code, name)) AS sorted
        WHERE s.code = $1::text) AS given
   ON held.scheme = given.scheme AND held.effective_date = given.effective_date
 WHEN MATCHED AND (held.accounts, held.codes, held.names) IS DISTINCT FROM (given.accounts, given.codes, given.names) THEN
      UPDATE SET accounts = given.accounts, codes = given.codes, names = given.names
 WHEN NOT MATCHED THEN
      INSERT (scheme, effective_date, accounts, codes, names)
      VALUES (given.scheme, given.effective_date, given.accounts, given.codes, given.names)
