-- The event that was proposed in scheme $1 with id $2, as JSON: a journal if $3, with its legs, else an opening or its
-- reversal, with the balance sheet that it states. Codes of the office's own ledger are those of the day on which the
-- journal occurred.
WITH chart AS MATERIALIZED (
    SELECT o.account, o.code, o.name
      FROM (SELECT (SELECT d.business_date FROM business_day d WHERE d.scheme = p.scheme AND d.starts_at <= p.occurred_at
                     ORDER BY d.business_date DESC LIMIT 1) AS day
              FROM proposed_event p WHERE p.scheme = $1::integer AND p.event_id = $2::uuid) AS occurred
     CROSS JOIN office_codes($1::integer) AS o
     WHERE $3::boolean AND occurred.day >= o.since AND occurred.day < o.until)
SELECT json_strip_nulls(json_build_object(
           'event_id', p.event_id, 'scheme', s.code, 'status', p.status, 'proposed_at', instant_text(p.proposed_at),
           'proposed_by', k.name, 'decided_at', instant_text(p.decided_at), 'decided_by', d.name, 'note', p.note, 'entry', p.entry,
           'balance_sheet', CASE WHEN p.kind <> :kind_journal THEN balance_sheet(p.scheme, p.accounts, p.amounts) END,
           'currency', CASE WHEN p.kind = :kind_journal THEN s.currency END,
           'legs', CASE WHEN p.kind = :kind_journal THEN lines.legs END,
           'debit', CASE WHEN p.kind = :kind_journal THEN lines.debit END,
           'credit', CASE WHEN p.kind = :kind_journal THEN lines.credit END,
           'event', p.event::json))
  FROM proposed_event p
  JOIN scheme s ON s.id = p.scheme
  LEFT JOIN api_key k ON k.id = p.proposed_by
  LEFT JOIN api_key d ON d.id = p.decided_by
 CROSS JOIN LATERAL (
       SELECT json_agg(json_build_object(
                  'account', account_name(l.account), 'code', coalesce(own.code, kind.code), 'name', coalesce(own.name, kind.name),
                  'debit', CASE WHEN l.amount > 0 THEN amount_text(l.amount, s.decimals) END,
                  'credit', CASE WHEN l.amount < 0 THEN amount_text(-l.amount, s.decimals) END) ORDER BY l.position) AS legs,
              amount_text(coalesce(sum(l.amount) FILTER (WHERE l.amount > 0), 0)::bigint, s.decimals) AS debit,
              amount_text(coalesce(-sum(l.amount) FILTER (WHERE l.amount < 0), 0)::bigint, s.decimals) AS credit
         FROM unnest(p.accounts, p.amounts) WITH ORDINALITY AS l(account, amount, position)
         LEFT JOIN chart own ON own.account = l.account
         LEFT JOIN chart kind ON kind.account = account_of(account_kind_of(l.account), 0, 0)) AS lines
 WHERE p.scheme = $1::integer AND p.event_id = $2::uuid AND (p.kind = :kind_journal) = $3::boolean
