-- The sealed days of scheme $1, in order: the seal, the particulars (null: not kept), and a range of entries
-- that holds those of the day, in bounds even if the rows are wrong; and whether changes, lines of fees,
-- and fee notes were kept when the day was closed. Dates that the service can't have written are left to days_match.
SELECT business_date, t.seal, p.previous, p.parts, p.digest, greatest(d.first_entry, 1), greatest(d.last_entry, 0),
       t.last_change IS NOT NULL,
       business_date > coalesce((SELECT through FROM older_fee_lines WHERE scheme = $1::integer), '-infinity'),
       business_date > coalesce((SELECT through FROM older_fee_notes WHERE scheme = $1::integer), '-infinity')
  FROM settlement t
  LEFT JOIN particulars p USING (scheme, business_date)
  LEFT JOIN business_day d USING (scheme, business_date)
 WHERE scheme = $1::integer AND business_date BETWEEN '1970-01-01' AND '9999-12-31'
 ORDER BY business_date
