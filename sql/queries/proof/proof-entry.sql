-- Entry $2 of scheme $1 as it was recorded, if it is of the sites to show $3 (null: all); its day's entries
-- lie between first and last, which are in bounds even if the rows are wrong; the day's seal (null: there is
-- none yet).
SELECT e.entry, e.business_date, e.kind, e.event, e.accounts, e.amounts, e.hash,
       leaf_is_sound(e.business_date, e.accounts, e.amounts), agreed_text(e.scheme, e.entry), followed_text(e.scheme, e.entry),
       greatest(d.first_entry, 1), greatest(d.last_entry, 0),
       s.entries, s.root, s.previous, s.seal
  FROM entry e
  JOIN business_day d USING (scheme, business_date)
  LEFT JOIN settlement s USING (scheme, business_date)
 WHERE e.scheme = $1::integer AND e.entry = $2::bigint AND ($3::integer[] IS NULL OR e.site = ANY ($3))
