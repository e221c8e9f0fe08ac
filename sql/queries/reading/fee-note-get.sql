-- A fee note as JSON. $1 scheme, $2 number, $3 the sites whose participants' notes may be seen (null: all).
SELECT json_strip_nulls(json_build_object(
           'scheme', c.code, 'number', n.number, 'month', to_char(n.business_date, 'YYYY-MM'),
           'from', date_trunc('month', n.business_date)::date, 'to', n.business_date, 'issued_at', instant_text(s.closed_at),
           'currency', c.currency, 'operator', n.operator_name, 'participant', p.code, 'name', n.name, 'tax_registered', n.tax_registered,
           'balance', amount_text(t.charged_amount + t.charged_tax - t.granted_amount - t.granted_tax, c.decimals),
           'charged', fee_note_side(n.scheme, n.number, false, c.decimals),
           'granted', fee_note_side(n.scheme, n.number, true, c.decimals),
           'totals', json_build_object(
               'charged_amount', amount_text(t.charged_amount, c.decimals), 'charged_tax', amount_text(t.charged_tax, c.decimals),
               'charged', amount_text(t.charged_amount + t.charged_tax, c.decimals),
               'granted_amount', amount_text(t.granted_amount, c.decimals), 'granted_tax', amount_text(t.granted_tax, c.decimals),
               'granted', amount_text(t.granted_amount + t.granted_tax, c.decimals))))
  FROM fee_note n
  JOIN fee_note_sum t ON t.scheme = n.scheme AND t.number = n.number
  JOIN scheme c ON c.id = n.scheme
  JOIN participant p ON p.id = n.participant
  JOIN settlement s ON s.scheme = n.scheme AND s.business_date = n.business_date
 WHERE n.scheme = $1::integer AND n.number = $2::integer
   AND ($3::integer[] IS NULL OR n.participant IN (SELECT participant FROM site WHERE id = ANY ($3::integer[])))
