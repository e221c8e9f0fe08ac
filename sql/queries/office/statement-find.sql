-- The statement of scheme $1, account $2, with the bank's id $3.
SELECT statement, digest FROM bank_statement
 WHERE scheme = $1::integer AND account = $2::text AND statement_id = $3::text
