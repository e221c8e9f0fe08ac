-- Batch $2 of scheme $1: its number (0: there is none), whether it says the same as site $3, day $4, re-maker $5, grams
-- $6, and cup types $7 with their quantities $8; whether it is withdrawn, and whether by key $9 with reason $10; and
-- whether a supply names it.
SELECT coalesce(b.number, 0),
       coalesce((b.site, b.sent_on, b.remaker, b.weight_g) = ($3::integer, $4::date, $5::text, $6::bigint)
                AND (SELECT array_agg((l.cup_type, l.quantity) ORDER BY l.cup_type) FROM remaking_batch_line l
                      WHERE l.scheme = b.scheme AND l.number = b.number)
                    = (SELECT array_agg((g.cup_type, g.quantity) ORDER BY g.cup_type)
                         FROM unnest($7::integer[], $8::bigint[]) AS g(cup_type, quantity)), false),
       w.number IS NOT NULL, coalesce(w.withdrawn_by = $9::integer AND w.reason = $10::text, false),
       b.number IS NOT NULL AND EXISTS (SELECT FROM remade_cups($1::integer, $2::text))
  FROM (SELECT) AS one
  LEFT JOIN remaking_batch b ON b.scheme = $1::integer AND b.code = $2::text
  LEFT JOIN remaking_batch_withdrawal w ON w.scheme = b.scheme AND w.number = b.number
