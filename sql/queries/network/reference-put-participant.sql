-- Makes or changes participants; a row where nothing changes stays as it is. Arrays, with an element for each: $1 code,
-- $2 name; bank account: $3 iban or $4 account and $5 bank_code; $6 bic; $7 whether tax_registered is given (it is true
-- otherwise), and $8 tax_registered; mandate: $9 id (null: none), $10 signed_on. Gives the places, from 0, of those
-- that differ.
WITH given AS MATERIALIZED (
    SELECT g.place, g.code, g.name, g.bic, NOT g.has_tax_registered OR g.tax_registered AS tax_registered,
           nullif(jsonb_strip_nulls(jsonb_build_object('iban', g.iban, 'account', g.account, 'bank_code', g.bank_code)), '{}')
               AS bank_account,
           CASE WHEN g.mandate IS NOT NULL THEN jsonb_build_object('id', g.mandate, 'signed_on', g.signed_on) END AS mandate,
           held.id AS held,
           (SELECT coalesce(max(id), 0) FROM participant) + row_number() OVER (PARTITION BY held.id IS NULL ORDER BY g.place) AS next
      FROM unnest($1::text[], $2::text[], $3::text[], $4::text[], $5::text[], $6::text[], $7::boolean[], $8::boolean[],
                  $9::text[], $10::date[]) WITH ORDINALITY
           AS g(code, name, iban, account, bank_code, bic, has_tax_registered, tax_registered, mandate, signed_on, place)
      LEFT JOIN participant held ON held.code = g.code),
put AS (
    INSERT INTO participant AS held (id, code, name, bank_account, bic, tax_registered, mandate)
    SELECT coalesce(held, next), code, name, bank_account, bic, tax_registered, mandate FROM given ORDER BY place
    ON CONFLICT (code) DO UPDATE
       SET name = excluded.name, bank_account = excluded.bank_account, bic = excluded.bic,
           tax_registered = excluded.tax_registered, mandate = excluded.mandate
     WHERE (held.name, held.bank_account, held.bic, held.tax_registered, held.mandate)
           IS DISTINCT FROM (excluded.name, excluded.bank_account, excluded.bic, excluded.tax_registered, excluded.mandate)
    RETURNING code)
SELECT given.place - 1 FROM put JOIN given ON given.code = put.code::text ORDER BY given.place
