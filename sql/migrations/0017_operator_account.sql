-- The bank's charges, interest, and the operator's own money: what it has put into the pool less what it has taken out.
INSERT INTO account_kind (kind, word, scope, class) VALUES
    (15, 'operator_account', 'scheme', 'equity'),
    (16, 'bank_charges', 'scheme', 'expense'),
    (17, 'interest', 'scheme', 'income');

-- A line of the bank's was a payment or its return; or a participant's money; or a charge, interest or the
-- operator's own money.
ALTER TABLE bank_line_resolution
    DROP CONSTRAINT bank_line_resolution_account_check,
    DROP CONSTRAINT bank_line_resolution_check,
    ADD CONSTRAINT bank_line_resolution_account_check
        CHECK (account IN ('settlement_due', 'arrears', 'bank_charges', 'interest', 'operator_account')),
    ADD CONSTRAINT bank_line_resolution_target_check
        CHECK ((payment_id IS NULL) = (account IS NOT NULL)
               AND coalesce(account IN ('settlement_due', 'arrears'), false) = (participant IS NOT NULL));

-- Money that the operator took out beyond what was free for it: two people resolve that exception.
ALTER TABLE proposal DROP CONSTRAINT proposal_what_check;
ALTER TABLE proposal ADD CONSTRAINT proposal_what_check
    CHECK (what IN ('reference', 'scheme', 'participant', 'key', 'bank_line', 'exception'));
ALTER TABLE exception_resolution ADD COLUMN proposal bigint REFERENCES proposal; -- null: one person could say so

CREATE OR REPLACE VIEW proposal_shown AS
    SELECT p.number, p.schemes, coalesce(d.decision, 'open') AS status, jsonb_strip_nulls(jsonb_build_object(
               'proposal', p.number, 'status', coalesce(d.decision, 'open'), 'what', p.what, 'name', nullif(p.name, ''),
               'schemes', (SELECT coalesce(jsonb_agg(s.code ORDER BY s.code COLLATE "C"), '[]')
                             FROM scheme s WHERE s.id = ANY (p.schemes)),
               'proposed_at', instant_text(p.proposed_at),
               'proposed_by', jsonb_build_object('key', k.name, 'holder', k.holder), 'why', p.why,
               'changes', p.changes, 'others', p.others,
               'request', CASE WHEN p.what = 'bank_line' OR p.what = 'exception' THEN p.body::jsonb END,
               'decided_at', instant_text(d.decided_at),
               'decided_by', CASE WHEN n.id IS NOT NULL THEN jsonb_build_object('key', n.name, 'holder', n.holder) END,
               'note', d.note)) AS shown
      FROM proposal p
      JOIN api_key k ON k.id = p.proposed_by
      LEFT JOIN proposal_decision d ON d.proposal = p.number
      LEFT JOIN api_key n ON n.id = d.decided_by;

-- What the operator could take out of the pool without touching money of others, in steps, as the ledger stands. Day
-- `today` gives the refund values. balance: what an account holds (+) or owes (-). counted: what the step adds to the
-- figure or takes from it.
--   bank                   the money that there is
--   deposits               belong to others. An account of them that is below zero holds nothing, and does not count
--   due_to_participants    is paid from that money: of each participant its dealings over all its sites, the amount
--                          settled and not paid, and its arrears. Each counts by itself, because a payout leaves
--                          before the next collection comes
--   due_from_participants  is not at the bank, and does not count until it is paid
--   tax                    is owed; a claim on the tax office is not at the bank
--   not_identified         came in, and nobody knows whose it is
--   left_unidentified      has left the bank already, and does not count: what it paid still stands among the others
CREATE FUNCTION withdrawable_steps(of_scheme integer, today date)
    RETURNS TABLE (step text, kind integer, participant integer, cup_type integer, balance bigint, counted bigint)
    LANGUAGE sql STABLE ROWS 100 AS $$
    WITH value AS (
        SELECT v.cup_type, v.effective_date, v.amount,
               lag(v.amount) OVER (PARTITION BY v.cup_type ORDER BY v.effective_date) AS before
          FROM refund_value v WHERE v.scheme = of_scheme AND v.effective_date <= today),
    change AS ( -- across a boundary that is not closed: its remeasurement is still to come
        SELECT v.cup_type, v.effective_date, v.amount - v.before AS amount FROM value v
         WHERE v.amount <> v.before
           AND v.effective_date - 1 > coalesce((SELECT max(d.business_date) FROM business_day d
                                                 WHERE d.scheme = of_scheme AND d.state = 'closed'), '-infinity')),
    boundary AS (SELECT DISTINCT effective_date FROM change),
    place (kind, counts) AS ( -- accounts of deposits, and of the cups that they are for
        SELECT p.kind, p.counts
          FROM scheme s, (VALUES (1, 36, false), (2, 33, true), (2, 34, true), (3, 35, true)) AS p(kind, counts, on_deposit)
         WHERE s.id = of_scheme AND (NOT p.on_deposit OR s.stock_terms = 'on_deposit')),
    stands AS (SELECT k.kind, k.cup_type, k.amount FROM kinds_through(of_scheme, 'infinity') AS k),
    deposit AS (
        SELECT part.kind, part.cup_type, sum(part.amount)::bigint AS amount
          FROM (SELECT k.kind, k.cup_type, k.amount FROM stands k WHERE k.kind <= 3
                UNION ALL
                SELECT place.kind, c.cup_type, -c.amount * k.amount
                  FROM boundary
                 CROSS JOIN LATERAL kinds_through(of_scheme, boundary.effective_date - 1) AS k
                  JOIN place ON place.counts = k.kind
                  JOIN change c ON c.effective_date = boundary.effective_date AND c.cup_type = k.cup_type) AS part
         GROUP BY part.kind, part.cup_type),
    dealing AS (
        SELECT part.kind, part.participant, sum(part.amount)::bigint AS amount
          FROM (SELECT 4 AS kind, s.participant, b.amount
                  FROM balances_between(of_scheme, account_of(4, 0, 0), account_of(5, 0, 0) - 1, 'infinity') AS b
                  JOIN site s ON s.id = account_owner(b.account)
                UNION ALL -- on deposit a site places more for its cups, or gets it back
                SELECT 4, s.participant, c.amount * b.amount
                  FROM boundary
                 CROSS JOIN LATERAL balances_between(of_scheme, account_of(33, 0, 0), account_of(35, 0, 0) - 1,
                                                     boundary.effective_date - 1) AS b
                  JOIN place ON place.counts = account_kind_of(b.account)
                  JOIN change c ON c.effective_date = boundary.effective_date AND c.cup_type = account_cup_type(b.account)
                  JOIN site s ON s.id = account_owner(b.account)
                UNION ALL
                SELECT account_kind_of(b.account), account_owner(b.account), b.amount
                  FROM balances_between(of_scheme, account_of(5, 0, 0), account_of(7, 0, 0) - 1, 'infinity') AS b) AS part
         GROUP BY part.kind, part.participant),
    gone AS (
        SELECT -coalesce(sum(l.amount), 0)::bigint AS amount
          FROM bank_line_open o JOIN bank_line l ON l.scheme = o.scheme AND l.line = o.line
         WHERE o.scheme = of_scheme AND l.amount < 0),
    other AS (
        SELECT o.kind, coalesce(s.amount, 0) AS amount FROM (VALUES (7), (8), (14)) AS o(kind) LEFT JOIN stands s ON s.kind = o.kind)
    SELECT 'bank', o.kind, NULL::integer, NULL::integer, o.amount, o.amount FROM other o WHERE o.kind = 7
    UNION ALL
    SELECT 'deposits', d.kind, NULL, d.cup_type, d.amount, least(d.amount, 0) FROM deposit d WHERE d.amount <> 0
    UNION ALL
    SELECT CASE WHEN d.amount < 0 THEN 'due_to_participants' ELSE 'due_from_participants' END, d.kind, d.participant, NULL, d.amount,
           least(d.amount, 0)
      FROM dealing d WHERE d.amount <> 0
    UNION ALL
    SELECT 'tax', o.kind, NULL, NULL, o.amount, least(o.amount, 0) FROM other o WHERE o.kind = 14
    UNION ALL
    SELECT 'not_identified', o.kind, NULL, NULL, o.amount - gone.amount, least(o.amount - gone.amount, 0) FROM other o, gone WHERE o.kind = 8
    UNION ALL
    SELECT 'left_unidentified', 8, NULL, NULL, gone.amount, 0 FROM gone WHERE gone.amount <> 0
$$;
