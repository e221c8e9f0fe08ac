-- The entries of an event id, in all schemes or one, or an entry by its number. $1 event id, $2 scheme (null: all),
-- $3 the sites to show (null: all), $4 entry (null: by event id). A dispatch, and a shipment of an opening, has the
-- cups that became of it. Exceptions of cups with identity, which come to light later, are for keys that see all
-- sites.
SELECT json_strip_nulls(json_build_object(
           'event', e.event::json, 'scheme', s.code, 'entry', e.entry,
           'kind', (SELECT k.word FROM entry_kind k WHERE k.kind = e.kind), 'business_date', e.business_date, 'late', e.late,
           'recorded_at', instant_text(e.recorded_at),
           'legs', (SELECT coalesce(json_agg(json_build_object('account', account_name(account),
                               CASE WHEN account_unit(account) = 0 THEN 'amount' ELSE 'cups' END,
                               CASE WHEN account_unit(account) = 0 THEN to_json(amount_text(amount, s.decimals))
                                    ELSE to_json(amount) END) ORDER BY position), '[]')
                      FROM unnest(e.accounts, e.amounts) WITH ORDINALITY AS leg(account, amount, position)),
           'agreed', CASE WHEN $3::integer[] IS NULL THEN agreed_text(e.scheme, e.entry)::json END,
           'follows', followed_text(e.scheme, e.entry)::json,
           'balance_sheet', CASE WHEN e.kind = :kind_opening THEN balance_sheet(e.scheme, e.accounts, e.amounts) END,
           'exceptions', (SELECT coalesce(json_agg(json_build_object('exception', x.kind, 'cup_type', c.code,
                                     'quantity', x.quantity, 'amount', amount_text(x.amount, s.decimals))
                                     ORDER BY x.position), '[]')
                            FROM exception x LEFT JOIN cup_type c ON c.id = x.cup_type
                           WHERE (x.scheme, x.entry) = (e.scheme, e.entry) AND (x.position < 1000 OR $3::integer[] IS NULL)),
           'reversed_by', (SELECT r.event::json ->> 'event_id'
                             FROM entry_reference f JOIN entry r ON (r.scheme, r.entry) = (f.scheme, f.entry)
                            WHERE (f.scheme, f.referred) = (e.scheme, e.entry) AND f.kind = :kind_reversal),
           'transfer', (SELECT json_agg(json_build_object(
                                   'cup_type', c.code, 'condition', CASE WHEN t.damaged THEN 'damaged' ELSE 'sound' END,
                                   'sender', f.code, 'receiver', r.code, 'home', h.code, 'sent', t.sent, 'received', t.received, 'lost', t.lost,
                                   'in_transit', greatest(t.sent - t.received - t.lost, 0))
                                   ORDER BY c.code COLLATE "C", t.damaged)
                          FROM transfer t
                          JOIN cup_type c ON c.id = t.cup_type
                          JOIN site f ON f.id = t.sender
                          JOIN site r ON r.id = t.receiver
                          LEFT JOIN scheme h ON h.id = t.home
                         WHERE t.scheme = e.scheme
                           AND t.dispatch = coalesce((SELECT h.number FROM shipment h
                                                       WHERE h.scheme = e.scheme AND h.event_id = $1::uuid),
                                                     CASE WHEN e.kind IN (:kinds_sent) THEN e.entry END)),
           'followed', CASE WHEN e.kind = :kind_opening
                            THEN EXISTS (SELECT FROM entry n WHERE n.scheme = e.scheme AND n.entry > e.entry) END,
           'settlement', (SELECT format('/v1/settlements/%s/%s', s.code, t.business_date) FROM settlement t
                           WHERE (t.scheme, t.business_date) = (e.scheme, e.business_date)),
           'proof', (SELECT format('/v1/%s/proof?scheme=%s', coalesce('events/' || (e.event::json ->> 'event_id'), 'entries/' || e.entry), s.code)
                       FROM settlement t
                      WHERE (t.scheme, t.business_date) = (e.scheme, e.business_date))))
  FROM scheme s
  JOIN entry e ON e.scheme = s.id
              AND e.entry = coalesce($4::bigint, (SELECT i.entry FROM event_id i WHERE i.scheme = s.id AND i.event_id = $1::uuid))
 WHERE ($2::integer IS NULL OR s.id = $2) AND ($3::integer[] IS NULL OR e.site = ANY ($3))
