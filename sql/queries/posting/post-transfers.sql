-- The cups that dispatches of the schemes $1 sent, received and lost: adds $8, $9 and $10 to sent, received and lost.
INSERT INTO transfer AS t (scheme, dispatch, cup_type, damaged, business_date, sender, receiver, sent, received, lost)
SELECT m.scheme, m.dispatch, m.cup_type, m.damaged, m.business_date, m.sender, m.receiver,
       sum(m.sent), sum(m.received), sum(m.lost)
  FROM unnest($1::integer[], $2::bigint[], $3::integer[], $4::boolean[], $5::date[], $6::integer[], $7::integer[],
              $8::bigint[], $9::bigint[], $10::bigint[])
       AS m(scheme, dispatch, cup_type, damaged, business_date, sender, receiver, sent, received, lost)
 GROUP BY m.scheme, m.dispatch, m.cup_type, m.damaged, m.business_date, m.sender, m.receiver
    ON CONFLICT (scheme, dispatch, cup_type, damaged) DO UPDATE
   SET sent = t.sent + excluded.sent, received = t.received + excluded.received, lost = t.lost + excluded.lost
