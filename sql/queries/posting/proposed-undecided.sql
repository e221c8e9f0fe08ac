-- The events of scheme $1 that were proposed and are not in the ledger: whether they are withdrawn, and whether each
-- is an opening.
SELECT event_id, digest, status = 'withdrawn', kind = :kind_opening
  FROM proposed_event WHERE scheme = $1::integer AND status <> 'approved'
