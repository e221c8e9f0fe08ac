-- The journals of scheme $1 that were proposed and are not in the ledger: whether they are withdrawn.
SELECT event_id, digest, status = 'withdrawn' FROM journal_proposal WHERE scheme = $1::integer AND status <> 'approved'
