-- Lists exceptions of the schemes $1.
INSERT INTO exception (scheme, entry, position, business_date, kind, site, cup_type, quantity, amount)
SELECT x.scheme, x.entry, x.position, x.business_date, x.kind, nullif(x.site, 0), nullif(x.cup_type, 0),
       CASE WHEN x.has_quantity THEN x.quantity END, CASE WHEN x.has_amount THEN x.amount END
  FROM unnest($1::integer[], $2::bigint[], $3::integer[], $4::date[], $5::text[], $6::integer[], $7::integer[],
              $8::boolean[], $9::bigint[], $10::boolean[], $11::bigint[])
       AS x(scheme, entry, position, business_date, kind, site, cup_type, has_quantity, quantity, has_amount, amount)
