-- The facts that changing sites depends on. Arrays, with an element for each as it is to be: $1 code, $2 scheme, $3
-- participant, $4 kind. A row for each, in their order: whether scheme and participant are known; whether scheme,
-- participant and kind change; whether something is posted that scheme and participant may no longer change after (also
-- a dispatch on its way to the site, an opening with cups there, and any opening that is proposed); whether the kind
-- changes though something depends on it (also a day that is closed or closes).
SELECT s.id IS NOT NULL,
       p.id IS NOT NULL,
       coalesce(o.scheme <> s.id, false),
       coalesce(o.participant <> p.id, false),
       coalesce(o.kind <> g.kind, false),
       CASE WHEN (o.scheme, o.participant) <> (s.id, p.id) -- transfers are not keyed by site
            THEN EXISTS (SELECT FROM entry e WHERE e.site = o.id)
              OR EXISTS (SELECT FROM transfer t WHERE o.scheme IN (t.scheme, t.home) AND o.id IN (t.sender, t.receiver))
              OR EXISTS (SELECT FROM balance b, unnest(ARRAY[:accounts_stock]) AS kind
                          WHERE b.scheme = o.scheme AND b.account BETWEEN account_of(kind, o.id, 0) AND account_of(kind, o.id, 65535))
              OR EXISTS (SELECT FROM proposed_event w
                          WHERE w.scheme = o.scheme AND w.kind = :kind_opening AND w.status = 'open')
            ELSE false END,
       CASE WHEN o.kind <> g.kind
            THEN EXISTS (SELECT FROM entry e WHERE e.site = o.id)
              OR EXISTS (SELECT FROM business_day d
                          WHERE d.scheme = o.scheme AND d.business_date >= o.opened_on AND d.state <> 'open')
            ELSE false END
  FROM unnest($1::text[], $2::text[], $3::text[], $4::text[]) WITH ORDINALITY AS g(site, scheme, participant, kind, place)
  LEFT JOIN site o ON o.code = g.site
  LEFT JOIN scheme s ON s.code = g.scheme
  LEFT JOIN participant p ON p.code = g.participant
 ORDER BY g.place
