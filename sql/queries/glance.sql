-- A scheme at a glance, as JSON. $1 scheme, $2 whether for its operator; else $3 the participant whose money to show (0: none).
WITH of_scheme AS (SELECT id, code, currency, decimals FROM scheme WHERE id = $1::integer),
own AS (SELECT $2::boolean AS all_of_it, $3::integer AS participant, $2::boolean OR $3::integer > 0 AS shows_money),
last_closed AS (
    SELECT business_date, closed_at, seal FROM settlement WHERE scheme = $1::integer ORDER BY business_date DESC LIMIT 1),
its_payments AS (
    SELECT count(*) AS payments, coalesce(sum(amount), 0) AS paid FROM payment p, own
     WHERE (p.scheme, p.business_date) = ($1::integer, (SELECT business_date FROM last_closed))
       AND (all_of_it OR payer = participant OR payee = participant)),
waiting AS (
    SELECT count(*) AS payments, coalesce(sum(amount), 0) AS amount FROM payment p, own
     WHERE p.scheme = $1::integer AND status NOT IN ('confirmed', 'failed')
       AND (all_of_it OR payer = participant OR payee = participant)),
-- Of arrears there are as many accounts as participants: they are read one by one, not with all others.
due AS (
    SELECT balance_through($1::integer, account_of(6, p.id, 0), 'infinity') AS amount FROM participant p, own
     WHERE all_of_it OR p.id = participant)
SELECT json_strip_nulls(json_build_object(
    'scheme', code, 'currency', currency,
    'business_date', (
        SELECT coalesce(
            (SELECT business_date FROM business_day
              WHERE scheme = $1::integer AND starts_at <= now() AND now() < ends_at ORDER BY business_date DESC LIMIT 1),
            max(business_date), current_date)
          FROM business_day WHERE scheme = $1::integer),
    'days_to_close', (SELECT count(*) FROM business_day WHERE scheme = $1::integer AND state <> 'closed' AND ends_at <= now()),
    'last_closed', (
        SELECT json_build_object('date', business_date, 'closed_at', instant_text(closed_at),
            'payments', CASE WHEN shows_money THEN payments END,
            'paid', CASE WHEN shows_money THEN amount_text(paid, decimals) END)
          FROM last_closed, its_payments),
    'exceptions_open', CASE WHEN all_of_it THEN (
        SELECT count(*) FROM exception x
         WHERE x.scheme = $1::integer
           AND NOT EXISTS (SELECT FROM exception_resolution r
                            WHERE (r.scheme, r.entry, r.position) = (x.scheme, x.entry, x.position))) END,
    'payments_waiting', CASE WHEN shows_money THEN (
        SELECT json_build_object('count', payments, 'amount', amount_text(amount, decimals)) FROM waiting) END,
    'arrears', CASE WHEN shows_money THEN (
        SELECT json_build_object('owed', amount_text(coalesce(sum(greatest(amount, 0)), 0), decimals),
                                 'owing', amount_text(coalesce(sum(greatest(-amount, 0)), 0), decimals))
          FROM due) END,
    'seal', CASE WHEN all_of_it THEN (SELECT encode(seal, 'hex') FROM last_closed) END))
  FROM of_scheme, own
