-- Whether scheme $1 has a batch $2 that is not withdrawn.
SELECT EXISTS (SELECT FROM remaking_batch b
                WHERE b.scheme = $1::integer AND b.code = $2::text
                  AND NOT EXISTS (SELECT FROM remaking_batch_withdrawal w WHERE w.scheme = b.scheme AND w.number = b.number))
