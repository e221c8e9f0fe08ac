-- The events of the schemes $1 that were proposed and are not in the ledger, by scheme: whether they are withdrawn, and
-- whether each is an opening.
SELECT scheme, event_id, digest, status = 'withdrawn', kind = :kind_opening
  FROM proposed_event WHERE scheme = ANY ($1::integer[]) AND status <> 'approved' ORDER BY scheme
