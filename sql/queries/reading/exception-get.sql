-- Exception $3 of entry $2 of scheme $1, as JSON; its kind, whether it is resolved, and whether key $4 did that
-- with note $5.
SELECT json_strip_nulls(json_build_object(
           'exception_id', format('%s.%s.%s', scheme.code, x.entry, x.position), 'scheme', scheme.code, 'entry', x.entry,
           'business_date', x.business_date, 'exception', x.kind, 'site', s.code, 'cup_type', c.code,
           'quantity', x.quantity, 'amount', amount_text(x.amount, decimals),
           'cup_id', cup.id, 'other_scheme', (SELECT o.code FROM scheme o WHERE o.id = f.other_scheme), 'other_entry', f.other_entry,
           'resolved', CASE WHEN z.entry IS NOT NULL THEN json_build_object(
               'at', instant_text(z.resolved_at), 'by', k.name, 'by_entry', z.by_entry, 'note', z.note,
               'proposal', z.proposal) END)),
       x.kind, z.entry IS NOT NULL, coalesce(z.resolved_by = $4::integer AND z.note = $5::text, false)
  FROM exception x
  JOIN scheme ON scheme.id = x.scheme
  LEFT JOIN site s ON s.id = x.site
  LEFT JOIN cup_type c ON c.id = x.cup_type
  LEFT JOIN exception_resolution z ON (z.scheme, z.entry, z.position) = (x.scheme, x.entry, x.position)
  LEFT JOIN api_key k ON k.id = z.resolved_by
  LEFT JOIN cup_finding f ON x.position >= 1000 AND (f.scheme, f.entry, f.exception) = (x.scheme, x.entry, x.position)
  LEFT JOIN cup USING (cup)
 WHERE x.scheme = $1::integer AND x.entry = $2::bigint AND x.position = $3::integer
