-- Whether batches of its site need the cups that entry $2 of scheme $1 retired: without these, fewer cups would be
-- retired at the site than its batches have.
SELECT EXISTS (SELECT FROM entry e
                CROSS JOIN LATERAL unnest(e.accounts, e.amounts) AS l(account, amount)
                 JOIN retired_cups(e.scheme, e.site) AS r ON r.cup_type = account_cup_type(l.account)
                WHERE e.scheme = $1::integer AND e.entry = $2::bigint AND account_kind_of(l.account) = :account_retired
                  AND r.batched > 0 AND r.batched > r.retired - l.amount)
