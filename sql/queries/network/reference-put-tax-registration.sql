-- Makes or changes a participant's registration for tax from a date on; touches no row when nothing changes. $1: the
-- participant's code, $2: effective_date, $3: tax_registered.
MERGE INTO tax_registration AS held
USING (SELECT id AS participant, $2::date AS effective_date, $3::boolean AS tax_registered
         FROM participant WHERE code = $1::text) AS given
   ON held.participant = given.participant AND held.effective_date = given.effective_date
 WHEN MATCHED AND held.tax_registered <> given.tax_registered THEN
      UPDATE SET tax_registered = given.tax_registered
 WHEN NOT MATCHED THEN
      INSERT (participant, effective_date, tax_registered)
      VALUES (given.participant, given.effective_date, given.tax_registered)
