-- Each thing that is still open in a scheme, or of one participant in it, with the next step. Nothing is left of
-- a participant when it has no row. $1 scheme, $2 participant (null: all, and the scheme's own things).
WITH step(what, place, next_step) AS (VALUES
    ('site_open', 1, 'give the site its last day'),
    ('day_open', 2, 'close the day'),
    ('cups_at_site', 3, 'collect them by a dispatch, or charge what is missing by a count'),
    ('damaged_at_site', 4, 'collect them by a dispatch, or retire them'),
    ('on_the_road', 5, 'record the receipt, or give the cups up as lost'),
    ('not_settled', 6, 'wait for the close of the next pay day'),
    ('in_arrears', 7, 'wait for the close of the next pay day'),
    ('payment_open', 8, 'have it paid, and confirm it'),
    ('not_paid', 9, 'find the bank line that changed it'),
    ('exception_open', 10, 'look at it, and resolve it'),
    ('key_in_force', 11, 'revoke the key'),
    ('with_customers', 12, 'take the cups back, or decide to forfeit the deposits'),
    ('bank_line_open', 13, 'say whose money it is'),
    ('event_proposed', 14, 'approve it, or withdraw it'),
    ('tax_owed', 15, 'pay it to the tax office'),
    ('at_bank', 16, 'pay out what belongs to others, and take out the rest')),
shown AS MATERIALIZED (
    SELECT p.id, p.code, s.last_day
      FROM participant p
     CROSS JOIN LATERAL (SELECT CASE WHEN bool_and(closed_on IS NOT NULL) THEN max(closed_on) END AS last_day
                           FROM site WHERE scheme = $1::integer AND participant = p.id) s
     WHERE $2::integer IS NULL OR p.id = $2),
last_close AS (
    SELECT coalesce(max(business_date), '-infinity') AS business_date FROM settlement WHERE scheme = $1::integer),
next_pay AS MATERIALIZED ( -- after the last close; before the first one, after yesterday
    SELECT next_pay_day($1::integer, CASE WHEN isfinite(business_date) THEN business_date ELSE current_date - 1 END) AS day
      FROM last_close),
stands AS MATERIALIZED (
    SELECT b.account, account_kind_of(b.account) AS kind, account_owner(b.account) AS owner,
           account_cup_type(b.account) AS cup_type, b.amount
      FROM balances_through($1::integer, 'infinity') AS b WHERE b.amount <> 0),
payment_open AS (
    SELECT side.participant, p.payment_id, p.due_on, side.amount
      FROM payment p
     CROSS JOIN LATERAL (VALUES (p.payer, p.amount), (p.payee, -p.amount)) AS side(participant, amount)
     WHERE p.scheme = $1::integer AND p.status NOT IN ('confirmed', 'failed') AND side.participant IS NOT NULL),
item AS (
    SELECT 'site_open' AS what, s.participant, s.id AS site, NULL::integer AS cup_type, NULL::bigint AS cups,
           NULL::bigint AS amount, s.closed_on AS since, NULL::bigint AS account, NULL::text AS payment_id,
           NULL::bigint AS entry, NULL::text AS name
      FROM site s, last_close c WHERE s.scheme = $1::integer AND coalesce(s.closed_on > c.business_date, true)
    UNION ALL -- the days through the last one of whom it is about
    SELECT 'day_open', NULL, NULL, NULL, NULL, NULL, d.business_date, NULL, NULL, NULL, NULL
      FROM business_day d
     WHERE d.scheme = $1::integer AND d.state <> 'closed' AND d.starts_at <= now()
       AND d.business_date <= CASE WHEN $2::integer IS NULL THEN (SELECT closed_on FROM scheme WHERE id = $1::integer)
                                   ELSE (SELECT last_day FROM shown) END
    UNION ALL
    SELECT CASE b.kind WHEN :account_damaged THEN 'damaged_at_site' ELSE 'cups_at_site' END, s.participant, s.id, b.cup_type,
           b.amount, NULL, NULL, b.account, NULL, NULL, NULL
      FROM stands b JOIN site s ON s.id = b.owner WHERE b.kind IN (:account_site_stock, :account_damaged)
    UNION ALL -- cups that another scheme sent home, of the receiver
    SELECT 'on_the_road', s.participant, s.id, t.cup_type, t.sent - t.received - t.lost, NULL, t.business_date,
           account_of(:account_abroad, t.scheme, t.cup_type), NULL, NULL, NULL
      FROM transfer t JOIN site s ON s.id = t.receiver
     WHERE t.home = $1::integer AND t.sent <> t.received + t.lost AND ($2::integer IS NULL OR s.participant = $2)
    UNION ALL -- of the sender; of the receiver only if the sender is not shown
    SELECT 'on_the_road', s.participant, s.id, t.cup_type, t.sent - t.received - t.lost, NULL, t.business_date,
           account_of(:account_in_transit, 0, t.cup_type), NULL, t.dispatch, NULL
      FROM transfer t
      JOIN LATERAL (SELECT id, participant FROM site
                     WHERE id IN (t.sender, t.receiver) AND ($2::integer IS NULL OR participant = $2)
                     ORDER BY id <> t.sender LIMIT 1) s ON true
     WHERE t.scheme = $1::integer AND t.home IS NULL AND t.sent <> t.received + t.lost
    UNION ALL
    SELECT 'not_settled', s.participant, s.id, NULL, NULL, b.amount, n.day, b.account,
           NULL, NULL, NULL
      FROM stands b JOIN site s ON s.id = b.owner, next_pay n WHERE b.kind = :account_site_clearing
    UNION ALL
    SELECT 'in_arrears', b.owner, NULL, NULL, NULL, b.amount, n.day, b.account, NULL,
           NULL, NULL
      FROM stands b, next_pay n WHERE b.kind = :account_arrears
    UNION ALL
    SELECT 'payment_open', p.participant, NULL, NULL, NULL, p.amount, p.due_on,
           account_of(:account_settlement_due, p.participant, 0), p.payment_id, NULL, NULL
      FROM payment_open p
    UNION ALL
    SELECT 'not_paid', coalesce(b.owner, p.participant), NULL, NULL, NULL, coalesce(b.amount, 0) - coalesce(p.amount, 0), NULL,
           account_of(:account_settlement_due, coalesce(b.owner, p.participant), 0), NULL, NULL, NULL
      FROM (SELECT owner, amount FROM stands WHERE kind = :account_settlement_due) b
      FULL JOIN (SELECT participant, sum(amount) AS amount FROM payment_open GROUP BY 1) p ON p.participant = b.owner
     WHERE coalesce(b.amount, 0) <> coalesce(p.amount, 0)
    UNION ALL
    SELECT 'exception_open', s.participant, s.id, x.cup_type, x.quantity, x.amount, x.business_date, NULL, NULL, x.entry, x.kind
      FROM exception_open o JOIN exception x USING (scheme, entry, position) LEFT JOIN site s ON s.id = x.site
     WHERE o.scheme = $1::integer
    UNION ALL
    SELECT 'key_in_force', coalesce(k.participant, s.participant), CASE WHEN k.participant IS NULL THEN s.id END, NULL, NULL,
           NULL, NULL, NULL, NULL, NULL, k.name
      FROM api_key k LEFT JOIN api_key_site n ON n.api_key = k.id LEFT JOIN site s ON s.id = n.site
     WHERE k.revoked_at IS NULL AND (k.participant IN (SELECT participant FROM site WHERE scheme = $1::integer) OR s.scheme = $1::integer)
    UNION ALL
    SELECT 'with_customers', NULL, NULL, b.cup_type, b.amount,
           (SELECT -d.amount FROM stands d WHERE d.kind = :account_customer_deposits AND d.cup_type = b.cup_type), NULL,
           b.account, NULL, NULL, NULL
      FROM stands b WHERE b.kind = :account_with_customers
    UNION ALL
    SELECT 'bank_line_open', NULL, NULL, NULL, NULL, l.amount, l.booked_on, account_of(:account_bank_suspense, 0, 0), NULL, NULL,
           l.line::text
      FROM bank_line_open o JOIN bank_line l USING (scheme, line) WHERE o.scheme = $1::integer
    UNION ALL -- a journal, or an opening or its reversal
    SELECT 'event_proposed', NULL, NULL, NULL, NULL, NULL, (p.proposed_at AT TIME ZONE c.time_zone)::date, NULL, NULL, NULL,
           p.event_id::text
      FROM proposed_event p JOIN scheme c ON c.id = p.scheme WHERE p.scheme = $1::integer AND p.status = 'open'
    UNION ALL
    SELECT CASE b.kind WHEN :account_bank THEN 'at_bank' ELSE 'tax_owed' END, NULL, NULL, NULL, NULL,
           CASE b.kind WHEN :account_bank THEN b.amount ELSE -b.amount END, NULL, b.account, NULL, NULL, NULL
      FROM stands b WHERE b.kind IN (:account_bank, :account_tax))
SELECT what, shown.code, coalesce(shown.last_day, CASE WHEN item.participant IS NULL THEN scheme.closed_on END), site.code, c.code,
       cups, amount_text(amount, decimals), since, account_name(account), payment_id, entry, item.name, next_step
  FROM item
  JOIN step USING (what)
  LEFT JOIN shown ON shown.id = item.participant
  LEFT JOIN site ON site.id = item.site
  LEFT JOIN cup_type c ON c.id = item.cup_type, scheme
 WHERE scheme.id = $1::integer
   AND (shown.id IS NOT NULL OR item.participant IS NULL AND ($2::integer IS NULL OR what = 'day_open'))
 ORDER BY shown.code COLLATE "C" NULLS LAST, step.place, site.code COLLATE "C", c.code COLLATE "C", since, payment_id COLLATE "C",
          entry, item.name
