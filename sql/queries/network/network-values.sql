-- All refund values, by scheme, cup type and date.
SELECT scheme, cup_type, effective_date, amount FROM refund_value ORDER BY scheme, cup_type, effective_date
