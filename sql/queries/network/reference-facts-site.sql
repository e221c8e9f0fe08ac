-- The facts that changing a site depends on. $1: its code, as it is to be: $2 scheme, $3 participant, $4 the
-- cup types of its par stock. Exactly one row: whether scheme and participant are known; whether they change;
-- whether something is posted that they may no longer change after (also a dispatch on its way to the site, an
-- opening with cups there, and any opening that is proposed); whether the kind becomes $5 though something
-- depends on it (also a day that is closed or closes); which of $4 are not known, from 0.
SELECT s.id IS NOT NULL,
       p.id IS NOT NULL,
       coalesce(o.scheme <> s.id, false),
       coalesce(o.participant <> p.id, false),
       CASE WHEN (o.scheme, o.participant) <> (s.id, p.id) -- transfers are not keyed by site
            THEN EXISTS (SELECT FROM entry e WHERE e.site = o.id)
              OR EXISTS (SELECT FROM transfer t WHERE t.scheme = o.scheme AND o.id IN (t.sender, t.receiver))
              OR EXISTS (SELECT FROM balance b, unnest(ARRAY[:accounts_stock]) AS kind
                          WHERE b.scheme = o.scheme AND b.account BETWEEN account_of(kind, o.id, 0) AND account_of(kind, o.id, 65535))
              OR EXISTS (SELECT FROM proposed_event w
                          WHERE w.scheme = o.scheme AND w.kind = :kind_opening AND w.status = 'open')
            ELSE false END,
       coalesce(o.kind <> $5::text, false)
           AND (EXISTS (SELECT FROM entry e WHERE e.site = o.id)
                OR EXISTS (SELECT FROM business_day d
                            WHERE d.scheme = o.scheme AND d.business_date >= o.opened_on AND d.state <> 'open')),
       ARRAY(SELECT u.position - 1 FROM unnest($4::text[]) WITH ORDINALITY AS u(code, position)
              WHERE NOT EXISTS (SELECT FROM cup_type c WHERE c.code = u.code) ORDER BY u.position)
  FROM (SELECT $1::text AS site, $2::text AS scheme, $3::text AS participant) AS given
  LEFT JOIN site o ON o.code = given.site
  LEFT JOIN scheme s ON s.code = given.scheme
  LEFT JOIN participant p ON p.code = given.participant
