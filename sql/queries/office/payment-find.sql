-- Payment $2 of scheme $1, with the facts that decide which changes it allows: whether its day is under dual
-- control, who closed its day and when, and what was done to it by whom (0: the service) and when.
SELECT p.status, p.held IS NOT NULL, p.released, p.payer, p.payee, p.amount, d.dual_control, t.closed_by,
       (SELECT array_agg(array_position(ARRAY['release', 'approve', 'instruct', 'confirm', 'fail'], c.change) - 1 ORDER BY c.position)
          FROM payment_change c WHERE (c.scheme, c.payment_id) = (p.scheme, p.payment_id)),
       (SELECT array_agg(coalesce(c.api_key, 0) ORDER BY c.position)
          FROM payment_change c WHERE (c.scheme, c.payment_id) = (p.scheme, p.payment_id)),
       instant_us(t.closed_at),
       (SELECT array_agg(instant_us(c.changed_at) ORDER BY c.position)
          FROM payment_change c WHERE (c.scheme, c.payment_id) = (p.scheme, p.payment_id))
  FROM payment p
  JOIN business_day d ON (d.scheme, d.business_date) = (p.scheme, p.business_date)
  JOIN settlement t ON (t.scheme, t.business_date) = (p.scheme, p.business_date)
 WHERE p.scheme = $1::integer AND p.payment_id = $2::text
