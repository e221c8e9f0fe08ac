-- Records a batch for a re-maker, with its lines, under the locks of changes. $1 scheme, $2 its code, $3 site, $4 the
-- day it was sent, $5 the re-maker, $6 grams, $7 when, $8 by which key, $9 the ids of cup types, $10 how many of each.
WITH batch AS (
    INSERT INTO remaking_batch (scheme, number, code, site, sent_on, remaker, weight_g, recorded_at, recorded_by)
    SELECT $1::integer, coalesce(max(number), 0) + 1, $2::text, $3::integer, $4::date, $5::text, $6::bigint,
           $7::timestamptz, $8::integer
      FROM remaking_batch WHERE scheme = $1::integer
    RETURNING scheme, number)
INSERT INTO remaking_batch_line (scheme, number, cup_type, quantity)
SELECT batch.scheme, batch.number, l.cup_type, l.quantity
  FROM batch, unnest($9::integer[], $10::bigint[]) AS l(cup_type, quantity)
