-- The amount owed to holders of cups, by cup type and day: opening + issued - refunded - forfeited + reinstated +
-- remeasured + reversed - refunded abroad = closing. $1 scheme, $2 first and $3 last business day, $4 cup type (null:
-- all). Deposits by the opening of a scheme are held from the start of its first day.
WITH wanted AS (
    SELECT c.id, c.code FROM cup_type c
     WHERE ($4::integer IS NULL OR c.id = $4) AND EXISTS (SELECT FROM refund_value v WHERE v.scheme = $1::integer AND v.cup_type = c.id)),
done AS (
    SELECT business_date, cup_type, sum(deposits_issued) AS issued, sum(deposits_refunded) AS refunded,
           sum(deposits_forfeited) AS forfeited, sum(deposits_reinstated) AS reinstated, sum(deposits_remeasured) AS remeasured,
           sum(deposits_reversed) AS reversed, sum(deposits_opened) AS opened, sum(deposits_abroad) AS abroad
      FROM cup_days($1::integer, $2::date, $3::date) GROUP BY 1, 2),
held AS (
    SELECT business_date, account_cup_type(account) AS cup_type,
           -sum(opening) FILTER (WHERE account_kind_of(account) = :account_customer_deposits) AS opening,
           -sum(closing) FILTER (WHERE account_kind_of(account) = :account_customer_deposits) AS closing,
           sum(closing) FILTER (WHERE account_kind_of(account) = :account_with_customers) AS cups_out
      FROM account_days($1::integer,
                        ARRAY(SELECT account_of(kind, 0, id)
                                FROM wanted, unnest(ARRAY[:account_customer_deposits, :account_with_customers]) AS kind),
                        $2::date, $3::date)
     GROUP BY 1, 2)
SELECT held.business_date, wanted.code, amount_text(opening + coalesce(opened, 0), decimals), amount_text(coalesce(issued, 0), decimals),
       amount_text(coalesce(refunded, 0), decimals), amount_text(coalesce(forfeited, 0), decimals),
       amount_text(coalesce(reinstated, 0), decimals), amount_text(coalesce(remeasured, 0), decimals),
       amount_text(coalesce(reversed, 0), decimals), amount_text(coalesce(abroad, 0), decimals), amount_text(closing, decimals), cups_out,
       format('customer_deposits(%s)', wanted.code), closed.business_date
  FROM held JOIN wanted ON wanted.id = held.cup_type LEFT JOIN done USING (business_date, cup_type)
  LEFT JOIN settlement closed ON closed.scheme = $1::integer AND closed.business_date = held.business_date, scheme
 WHERE scheme.id = $1::integer
 ORDER BY wanted.code COLLATE "C", held.business_date
