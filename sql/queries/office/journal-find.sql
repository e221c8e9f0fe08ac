-- The journal that was proposed in scheme $1 with event id $2.
SELECT status, proposed_by, decided_by, event, instant_us(occurred_at), accounts, amounts, instant_us(proposed_at)
  FROM journal_proposal WHERE scheme = $1::integer AND event_id = $2::uuid
