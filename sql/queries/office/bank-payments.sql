-- The payments of scheme $1 among the ids $2, by id: the facts that match a bank line with them. Whether each was ever
-- confirmed; whether a line, or a resolved one, was taken for it, and for its return. Last, of a payment to another
-- scheme's pool that scheme, and whether it is instructed in the currency of the books: if not, its amount is known
-- only when it was confirmed, and is 0 before. And the amount as it is instructed, with its currency.
WITH taken AS (
    SELECT payment_id, returned FROM bank_line
     WHERE scheme = $1::integer AND payment_id = ANY ($2::text[]) AND disposition IN ('matched', 'returned')
    UNION ALL
    SELECT payment_id, came_back FROM bank_line_resolution WHERE scheme = $1::integer AND payment_id = ANY ($2::text[]))
SELECT p.payment_id, p.status, p.payer, p.payee, p.amount,
       EXISTS (SELECT FROM payment_change c
                WHERE (c.scheme, c.payment_id) = (p.scheme, p.payment_id) AND c.change = 'confirm'),
       EXISTS (SELECT FROM taken t WHERE t.payment_id = p.payment_id AND NOT t.returned),
       EXISTS (SELECT FROM taken t WHERE t.payment_id = p.payment_id AND t.returned), p.host, p.is_own_currency,
       p.agreed, c.currency
  FROM (SELECT scheme, payment_id, status, payer, payee, amount, NULL::integer AS host, true AS is_own_currency, amount AS agreed,
               scheme AS agreed_of
          FROM payment
        UNION ALL
        SELECT o.scheme, o.payment_id, o.status, NULL, NULL,
               CASE WHEN h.currency = k.currency OR NOT o.in_host_currency THEN o.amount
                    ELSE coalesce((SELECT c.booked FROM payment_change c
                                    WHERE (c.scheme, c.payment_id) = (o.scheme, o.payment_id) AND c.change = 'confirm'), 0) END,
               o.host, h.currency = k.currency OR NOT o.in_host_currency, o.agreed, CASE WHEN o.in_host_currency THEN o.host ELSE o.scheme END
          FROM pool_payment o JOIN scheme h ON h.id = o.scheme JOIN scheme k ON k.id = o.host) AS p
  JOIN scheme c ON c.id = p.agreed_of
 WHERE p.scheme = $1::integer AND p.payment_id = ANY ($2::text[])
 ORDER BY p.payment_id COLLATE "C"
