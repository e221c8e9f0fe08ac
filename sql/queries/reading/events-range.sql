-- Between which entries a list of events has to look, so that no slice reads the whole ledger: after the first, through
-- the second. $1 scheme, $2 the cursor's entry, $3 first and $4 last business day (null: none).
SELECT CASE WHEN :newest_first THEN first ELSE greatest($2::bigint, first) END,
       CASE WHEN :newest_first THEN least($2::bigint - 1, last) ELSE last END
  FROM (
       SELECT coalesce(min(first_entry) - 1, 0) AS first,
              CASE WHEN $3::date IS NULL AND $4::date IS NULL
                   THEN coalesce((SELECT last_entry FROM scheme_head WHERE scheme = $1::integer), 0)
                   ELSE coalesce(max(last_entry), 0) END AS last
         FROM business_day
        WHERE scheme = $1::integer AND ($3::date IS NOT NULL OR $4::date IS NOT NULL)
          AND business_date BETWEEN coalesce($3::date, '-infinity') AND coalesce($4::date, 'infinity')) AS span
