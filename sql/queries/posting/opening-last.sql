-- The last entry of scheme $1: whether it is an opening, and whether it is the reversal of one. An opening comes
-- before any other entry and is reversed only while it is the last one; so nothing else has been posted in a scheme
-- whose last entry reverses an opening.
SELECT e.kind = :kind_opening,
       e.kind = :kind_reversal
           AND EXISTS (SELECT FROM entry_reference r JOIN entry o ON o.scheme = r.scheme AND o.entry = r.referred
                        WHERE r.scheme = e.scheme AND r.entry = e.entry AND o.kind = :kind_opening)
  FROM entry e WHERE e.scheme = $1::integer ORDER BY e.entry DESC LIMIT 1
