-- The balance sheet of the opening, or the reversal of one, that was proposed in scheme $1 with event id $2, as JSON.
SELECT balance_sheet(p.scheme, p.accounts, p.amounts)
  FROM proposed_event p WHERE p.scheme = $1::integer AND p.event_id = $2::uuid AND p.kind <> :kind_journal
