-- The bank's charges, interest, and the operator's own money: what it has put into the pool less what it has taken out.
INSERT INTO account_kind (kind, word, scope, class) VALUES
    (15, 'operator_account', 'scheme', 'equity'),
    (16, 'bank_charges', 'scheme', 'expense'),
    (17, 'interest', 'scheme', 'income');

-- A line of the bank's was a payment or its return; or a participant's money; or a charge, interest or the operator's own money.
ALTER TABLE bank_line_resolution
    DROP CONSTRAINT bank_line_resolution_account_check,
    DROP CONSTRAINT bank_line_resolution_check,
    ADD CONSTRAINT bank_line_resolution_account_check
        CHECK (account IN ('settlement_due', 'arrears', 'bank_charges', 'interest', 'operator_account')),
    ADD CONSTRAINT bank_line_resolution_target_check
        CHECK ((payment_id IS NULL) = (account IS NOT NULL)
               AND coalesce(account IN ('settlement_due', 'arrears'), false) = (participant IS NOT NULL));
