-- Check: every money leg is on an account that the funding shows, of a site or participant of the scheme, and
-- the money against the deposits exceeds them by exactly its causes. $1 scheme.
WITH money AS (
    SELECT account, k.word, k.class,
           CASE k.scope WHEN 'site' THEN EXISTS (SELECT FROM site s WHERE s.id = account_owner(account) AND s.scheme = $1::integer)
                        WHEN 'site_cup_type' THEN EXISTS (SELECT FROM site s WHERE s.id = account_owner(account) AND s.scheme = $1::integer)
                        WHEN 'participant' THEN EXISTS (SELECT FROM site s WHERE s.participant = account_owner(account) AND s.scheme = $1::integer)
                        WHEN 'pair' THEN $1::integer IN (account_home(account), account_host(account))
                        WHEN 'other' THEN EXISTS (SELECT FROM scheme s WHERE s.id = account_owner(account) AND s.id <> $1::integer)
                        ELSE k.scope IS NOT NULL END AS is_known, amount
      FROM (SELECT account, sum(amount) AS amount FROM leg WHERE scheme = $1::integer AND account_unit(account) = 0 GROUP BY 1) AS stands
      LEFT JOIN account_kind k ON k.kind = account_kind_of(account)),
examined AS (
    SELECT account, coalesce(account_name(account), account::text, 'nothing') || ' is no account of the funding' AS what, NOT is_known AS is_broken FROM money
    UNION ALL
    SELECT 0, 'the surplus over the deposits is not what its causes sum to',
           coalesce(sum(amount) FILTER (WHERE class = 'asset' OR word LIKE '%\_deposits'), 0)
           <> -coalesce(sum(amount) FILTER (WHERE class <> 'asset' AND word NOT LIKE '%\_deposits'), 0)
      FROM money)
SELECT count(*), count(*) FILTER (WHERE is_broken),
       first_lines(array_agg(what ORDER BY account) FILTER (WHERE is_broken))
  FROM examined
