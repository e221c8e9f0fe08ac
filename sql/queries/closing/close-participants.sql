-- The participants that day $2 of scheme $1 concerns, in the order of their codes: their arrears, the pay day
-- since which their position has been carried for its size, the sum of the exceptions at their sites from day
-- $3 (on which nothing was paid yet) through day $2, their bank account, and whether this account differs from
-- that of their last payout that was released, or was not held for this reason. And whether the scheme began
-- with an opening and the participant has had no payout since.
WITH exceptions AS (
    SELECT s.participant, sum(coalesce(abs(x.amount), abs(x.quantity) * v.amount, 0)) AS amount
      FROM business_day d
      JOIN exception x ON x.scheme = d.scheme AND x.entry BETWEEN d.first_entry AND d.last_entry
                      AND x.business_date = d.business_date AND x.kind IN ('off_tariff', 'late_tariff', 'count_off')
      JOIN site s ON s.id = x.site
      LEFT JOIN LATERAL (SELECT r.amount FROM refund_value r
                          WHERE r.scheme = x.scheme AND r.cup_type = x.cup_type AND r.effective_date <= x.business_date
                          ORDER BY r.effective_date DESC LIMIT 1) v ON true
     WHERE d.scheme = $1::integer AND d.business_date BETWEEN $3::date AND $2::date
     GROUP BY s.participant),
opened AS (
    SELECT EXISTS (SELECT FROM proposed_event o
                    WHERE o.scheme = $1::integer AND o.kind = :kind_opening AND o.status = 'approved'
                      AND NOT EXISTS (SELECT FROM entry_reference r
                                       WHERE r.scheme = o.scheme AND r.referred = o.entry AND r.kind = :kind_reversal)) AS scheme_is)
SELECT p.id, folded_balance_through($1::integer, account_of(:account_arrears, p.id, 0), $2::date), o.carried_since,
       coalesce(e.amount, 0), p.bank_account,
       (SELECT l.bank_account IS DISTINCT FROM p.bank_account FROM payment l
         WHERE l.scheme = $1::integer AND l.payee = p.id AND (l.held IS DISTINCT FROM 'bank_account_changed' OR l.released)
         ORDER BY l.business_date DESC LIMIT 1),
       opened.scheme_is AND NOT EXISTS (SELECT FROM payment l WHERE l.scheme = $1::integer AND l.payee = p.id)
  FROM participant p
  LEFT JOIN exceptions e ON e.participant = p.id
  LEFT JOIN position o ON o.scheme = $1::integer AND o.business_date = $2::date - 1 AND o.participant = p.id
 CROSS JOIN opened
 WHERE EXISTS (SELECT FROM site s WHERE s.scheme = $1::integer AND s.participant = p.id)
    OR folded_balance_through($1::integer, account_of(:account_arrears, p.id, 0), $2::date) <> 0
 ORDER BY p.code COLLATE "C"
