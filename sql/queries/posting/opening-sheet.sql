-- The balance sheet of legs $2 (accounts) and $3 (amounts) in scheme $1, as JSON.
SELECT balance_sheet($1::integer, $2::bigint[], $3::bigint[])
