-- All dated registrations for tax, by participant and date.
SELECT participant, effective_date, tax_registered FROM tax_registration ORDER BY participant, effective_date
