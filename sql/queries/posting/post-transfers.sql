-- The cups that dispatches of the schemes $1 sent, received and lost: adds $8, $9 and $10 to sent, received and lost.
-- $11 is the scheme that they were sent to, or 0: the same. A host that sends cups home has a place from which their
-- home follows, also before it took any back.
WITH kept AS (
    INSERT INTO transfer AS t (scheme, dispatch, cup_type, damaged, business_date, sender, receiver, sent, received, lost, home)
    SELECT m.scheme, m.dispatch, m.cup_type, m.damaged, m.business_date, m.sender, m.receiver,
           sum(m.sent), sum(m.received), sum(m.lost), nullif(m.home, 0)
      FROM unnest($1::integer[], $2::bigint[], $3::integer[], $4::boolean[], $5::date[], $6::integer[], $7::integer[],
                  $8::bigint[], $9::bigint[], $10::bigint[], $11::integer[])
           AS m(scheme, dispatch, cup_type, damaged, business_date, sender, receiver, sent, received, lost, home)
     GROUP BY m.scheme, m.dispatch, m.cup_type, m.damaged, m.business_date, m.sender, m.receiver, m.home
        ON CONFLICT (scheme, dispatch, cup_type, damaged) DO UPDATE
       SET sent = t.sent + excluded.sent, received = t.received + excluded.received, lost = t.lost + excluded.lost
    RETURNING t.scheme, t.home)
INSERT INTO following_place (home, host)
SELECT DISTINCT home, scheme FROM kept WHERE home IS NOT NULL
    ON CONFLICT DO NOTHING
