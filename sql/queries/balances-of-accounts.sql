-- The balances, as they stand, of the accounts $2 of scheme $1; in their order.
SELECT balance_through($1::integer, a.account, 'infinity')
  FROM unnest($2::bigint[]) WITH ORDINALITY AS a(account, place) ORDER BY a.place
