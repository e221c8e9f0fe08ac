-- Makes or changes the value of a cup type from a business day on; touches no row when nothing changes. $1:
-- the scheme's code, $2: the cup type's, $3: effective_date, $4: amount in minor units.
MERGE INTO refund_value AS held
USING (SELECT s.id AS scheme, c.id AS cup_type, $3::date AS effective_date, $4::bigint AS amount
         FROM scheme s, cup_type c WHERE s.code = $1::text AND c.code = $2::text) AS given
   ON held.scheme = given.scheme AND held.cup_type = given.cup_type AND held.effective_date = given.effective_date
 WHEN MATCHED AND held.amount <> given.amount THEN UPDATE SET amount = given.amount
 WHEN NOT MATCHED THEN
      INSERT (scheme, cup_type, effective_date, amount)
      VALUES (given.scheme, given.cup_type, given.effective_date, given.amount)
