-- Whether scheme $1 has ever read a statement of the bank.
SELECT EXISTS (SELECT FROM bank_statement WHERE scheme = $1::integer)
