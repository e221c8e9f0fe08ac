-- Check: one key proposed each journal in the ledger, each opening and each reversal of one, and another approved it.
-- $1 scheme.
WITH recorded AS (
    SELECT e.entry, e.kind, e.event, e.accounts, e.amounts, e.api_key FROM entry e
     WHERE e.scheme = $1::integer
       AND (e.kind IN (:kind_journal, :kind_opening)
            OR e.kind = :kind_reversal
               AND EXISTS (SELECT FROM entry_reference r JOIN entry o ON o.scheme = r.scheme AND o.entry = r.referred
                            WHERE r.scheme = e.scheme AND r.entry = e.entry AND o.kind = :kind_opening))),
approved AS (
    SELECT entry, p.kind, p.event, accounts, amounts, proposed_by, decided_by, k.name
      FROM proposed_event p LEFT JOIN api_key k ON k.id = p.decided_by
     WHERE p.scheme = $1::integer AND p.status = 'approved'),
examined AS (
    SELECT format('%s of entry %s is not what two keys agreed on', coalesce(k.word, 'event'), entry) AS what,
           (r.kind = a.kind AND r.event = '{"approved_by":"' || a.name || '",' || substr(a.event, 2)
            AND r.accounts = a.accounts AND r.amounts = a.amounts AND r.api_key = a.proposed_by
            AND a.proposed_by <> a.decided_by) IS NOT TRUE AS is_broken
      FROM recorded r FULL JOIN approved a USING (entry) LEFT JOIN entry_kind k ON k.kind = coalesce(r.kind, a.kind))
SELECT count(*), count(*) FILTER (WHERE is_broken), first_lines(array_agg(what ORDER BY what) FILTER (WHERE is_broken))
  FROM examined
