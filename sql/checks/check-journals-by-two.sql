-- Check: one key proposed each journal in the ledger, and another approved it. $1 scheme.
WITH recorded AS (
    SELECT entry, event, accounts, amounts, api_key FROM entry WHERE scheme = $1::integer AND kind = :kind_journal),
approved AS (
    SELECT entry, p.event, accounts, amounts, proposed_by, decided_by, k.name
      FROM journal_proposal p LEFT JOIN api_key k ON k.id = p.decided_by
     WHERE p.scheme = $1::integer AND p.status = 'approved'),
examined AS (
    SELECT format('journal of entry %s is not what two keys agreed on', entry) AS what,
           (r.event = '{"approved_by":"' || a.name || '",' || substr(a.event, 2)
            AND r.accounts = a.accounts AND r.amounts = a.amounts AND r.api_key = a.proposed_by
            AND a.proposed_by <> a.decided_by) IS NOT TRUE AS is_broken
      FROM recorded r FULL JOIN approved a USING (entry))
SELECT count(*), count(*) FILTER (WHERE is_broken), first_lines(array_agg(what ORDER BY what) FILTER (WHERE is_broken))
  FROM examined
