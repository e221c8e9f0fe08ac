-- Makes or changes a participant; touches no row when nothing changes. $1: code, $2: name; bank account: $3 iban or
-- $4 account and $5 bank_code; $6: bic, $7: tax_registered (null: it is); mandate: $8 id, $9 signed_on.
MERGE INTO participant AS held
USING (SELECT (SELECT coalesce(max(id), 0) + 1 FROM participant) AS id, $1::text AS code, $2::text AS name,
              nullif(jsonb_strip_nulls(jsonb_build_object('iban', $3::text, 'account', $4::text, 'bank_code', $5::text)),
                     '{}') AS bank_account,
              $6::text AS bic, coalesce($7::boolean, true) AS tax_registered,
              nullif(jsonb_strip_nulls(jsonb_build_object('id', $8::text, 'signed_on', $9::date)), '{}') AS mandate) AS given
   ON held.code = given.code
 WHEN MATCHED AND (held.name, held.bank_account, held.bic, held.tax_registered, held.mandate)
      IS DISTINCT FROM (given.name, given.bank_account, given.bic, given.tax_registered, given.mandate) THEN
      UPDATE SET name = given.name, bank_account = given.bank_account, bic = given.bic,
                 tax_registered = given.tax_registered, mandate = given.mandate
 WHEN NOT MATCHED THEN
      INSERT (id, code, name, bank_account, bic, tax_registered, mandate)
      VALUES (given.id, given.code, given.name, given.bank_account, given.bic, given.tax_registered, given.mandate)
