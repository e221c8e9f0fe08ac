-- The amount that the operator could take out of the pool now without touching money of others, and the steps to it.
-- $1 scheme.
WITH of_scheme AS (SELECT id, decimals FROM scheme WHERE id = $1::integer),
today AS (
    SELECT coalesce((SELECT business_date FROM business_day
                      WHERE scheme = $1::integer AND starts_at <= now() ORDER BY business_date DESC LIMIT 1),
                    current_date) AS business_date),
line AS MATERIALIZED (SELECT s.* FROM today CROSS JOIN LATERAL withdrawable_steps($1::integer, today.business_date) AS s),
-- A participant's sites are one position; the line has an account if there is only one.
named AS (
    SELECT l.step, l.kind, k.word AS item, p.code AS participant, c.code AS cup_type, l.balance, l.counted,
           CASE k.scope WHEN 'site_cup_type' THEN NULL
                        WHEN 'site' THEN (SELECT CASE count(*) WHEN 1 THEN k.word || '(' || min(s.code) || ')' END
                                            FROM site s WHERE s.scheme = $1::integer AND s.participant = l.participant)
                        ELSE k.word || coalesce('(' || coalesce(p.code, account_schemes(account_of(l.kind, l.participant, 0)), c.code) || ')', '')
                        END AS account
      FROM line l
      JOIN account_kind k ON k.kind = l.kind
      LEFT JOIN participant p ON p.id = l.participant AND k.scope IN ('site', 'site_cup_type', 'participant')
      LEFT JOIN cup_type c ON c.id = l.cup_type),
total AS (SELECT sum(counted) AS amount FROM line),
listed AS (
    SELECT 1 AS part, step, kind, item, account, participant, cup_type, balance::numeric, counted::numeric FROM named
    UNION ALL
    SELECT 2, 'withdrawable', 0, NULL, NULL, NULL, NULL, NULL, greatest(amount, 0) FROM total
    UNION ALL
    SELECT 3, 'shortfall', 0, NULL, NULL, NULL, NULL, NULL, greatest(-amount, 0) FROM total)
SELECT step, item, account, participant, cup_type, amount_text(balance, decimals), amount_text(counted, decimals)
  FROM listed, of_scheme
 ORDER BY part, array_position(ARRAY['bank', 'deposits', 'due_to_participants', 'due_from_participants', 'due_to_schemes',
                                     'due_from_schemes', 'tax', 'not_identified', 'left_unidentified'], step), kind, participant COLLATE "C", cup_type COLLATE "C"
