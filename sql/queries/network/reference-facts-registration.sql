-- Whether a participant's registration for tax changes though something depends on it: an entry of one of its sites, or
-- a day that is closed or closes. $1: its code; $2: as it is to be (null: it is). No row: there is no such participant.
SELECT p.tax_registered <> coalesce($2::boolean, true)
       AND EXISTS (SELECT FROM site s
                    WHERE s.participant = p.id
                      AND (EXISTS (SELECT FROM entry e WHERE e.site = s.id)
                           OR EXISTS (SELECT FROM business_day d
                                       WHERE d.scheme = s.scheme AND d.business_date >= s.opened_on AND d.state <> 'open')))
  FROM participant p WHERE p.code = $1::text
