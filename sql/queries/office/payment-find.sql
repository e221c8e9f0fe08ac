-- Payment $2 of scheme $1, with the facts that decide which changes it allows: whether its day is under dual control,
-- who closed its day and when, and what was done to it by whom (0: the service) and when. Of a payment to another
-- scheme's pool also: that scheme, whether the agreed currency is this scheme's own, the amount in it, and the key
-- that signed the agreement for the scheme.
SELECT p.status, p.held, p.released, p.payer, p.payee, p.amount, d.dual_control, t.closed_by,
       (SELECT array_agg(array_position(ARRAY['release', 'approve', 'instruct', 'confirm', 'fail'], c.change) - 1 ORDER BY c.position)
          FROM payment_change c WHERE (c.scheme, c.payment_id) = (p.scheme, p.payment_id)),
       (SELECT array_agg(coalesce(c.api_key, 0) ORDER BY c.position)
          FROM payment_change c WHERE (c.scheme, c.payment_id) = (p.scheme, p.payment_id)),
       instant_us(t.closed_at),
       (SELECT array_agg(instant_us(c.changed_at) ORDER BY c.position)
          FROM payment_change c WHERE (c.scheme, c.payment_id) = (p.scheme, p.payment_id)),
       p.host, p.is_own_currency, p.agreed,
       (SELECT a.home_signed_by FROM agreement a
         WHERE a.home = p.scheme AND a.host = p.host AND a.effective_date <= p.business_date
         ORDER BY a.effective_date DESC LIMIT 1)
  FROM (SELECT scheme, payment_id, business_date, status, held IS NOT NULL AS held, released, payer, payee, amount,
               NULL::integer AS host, true AS is_own_currency, amount AS agreed
          FROM payment
        UNION ALL
        SELECT o.scheme, payment_id, business_date, status, true, released, NULL, NULL, amount, host, h.currency = k.currency
               OR NOT in_host_currency, agreed
          FROM pool_payment o JOIN scheme h ON h.id = o.scheme JOIN scheme k ON k.id = o.host) AS p
  JOIN business_day d ON (d.scheme, d.business_date) = (p.scheme, p.business_date)
  JOIN settlement t ON (t.scheme, t.business_date) = (p.scheme, p.business_date)
 WHERE p.scheme = $1::integer AND p.payment_id = $2::text
