-- Whether participants' registrations for tax change, and whether they may not, because something depends on them: an
-- entry of one of the participant's sites, or a day that is closed or closes. Arrays, with an element for each: $1
-- code; $2 whether the registration is given (it is registered otherwise), and $3 as it is to be. A row for each, in
-- their order.
SELECT coalesce(p.tax_registered <> (NOT g.is_given OR g.registered), false),
       CASE WHEN p.tax_registered <> (NOT g.is_given OR g.registered)
            THEN EXISTS (SELECT FROM site s
                          WHERE s.participant = p.id
                            AND (EXISTS (SELECT FROM entry e WHERE e.site = s.id)
                                 OR EXISTS (SELECT FROM business_day d
                                             WHERE d.scheme = s.scheme AND d.business_date >= s.opened_on AND d.state <> 'open')))
            ELSE false END
  FROM unnest($1::text[], $2::boolean[], $3::boolean[]) WITH ORDINALITY AS g(code, is_given, registered, place)
  LEFT JOIN participant p ON p.code = g.code
 ORDER BY g.place
