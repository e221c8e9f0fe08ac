-- All rows of fees, by scheme, date and position.
SELECT scheme, effective_date, participant, site_kind, cup_type, service_fee, handling_fee, monthly_fee
  FROM fee_row ORDER BY scheme, effective_date, position
