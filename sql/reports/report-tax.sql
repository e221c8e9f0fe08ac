-- The tax of a period by direction, supply and rate; then the sums. $1 scheme, $2 first and $3 last business day. Tax
-- on service fees, standing fees and forfeits is owed to the tax office (+), tax on handling fees is recoverable (-),
-- and a base has the sign of its tax. A close rounds the tax of a site's fee once, over all rates: a rate's share is
-- the rounded tax through this rate less that through the lower ones. Days that a version without lines of fees closed
-- have no rate. The sum of all is the movement of the account.
WITH of_scheme AS (SELECT decimals FROM scheme WHERE id = $1::integer),
kept AS (
    SELECT business_date, site, fee, tax_rate_ppm, sum(quantity::numeric * each) AS base,
           sum(quantity::numeric * each * tax_rate_ppm) AS exact
      FROM fee_line WHERE scheme = $1::integer AND business_date BETWEEN $2::date AND $3::date
     GROUP BY 1, 2, 3, 4),
shared AS (
    SELECT fee, tax_rate_ppm, base, round_half_even(sum(exact) OVER upto * 0.000001)
           - round_half_even((sum(exact) OVER upto - exact) * 0.000001) AS tax
      FROM kept WINDOW upto AS (PARTITION BY business_date, site, fee ORDER BY tax_rate_ppm)),
older AS (
    SELECT sum(f.service_fee) AS service_fee, sum(f.service_tax) AS service_tax, sum(f.handling_fee) AS handling_fee,
           sum(f.handling_tax) AS handling_tax
      FROM older_fee_lines o CROSS JOIN LATERAL fee_days($1::integer, $2::date, least($3::date, o.through)) AS f
     WHERE o.scheme = $1::integer),
span AS (
    SELECT min(first_entry) AS first, max(last_entry) AS last FROM business_day
     WHERE scheme = $1::integer AND business_date BETWEEN $2::date AND $3::date),
posted AS ( -- forfeited and reinstated cups, reversals of these, and journals
    SELECT coalesce(o.kind, e.kind) AS kind, coalesce(o.business_date, e.business_date) AS rate_date, moved.base, moved.tax
      FROM span
     CROSS JOIN LATERAL (
           SELECT * FROM entry
            WHERE scheme = $1::integer AND entry BETWEEN span.first AND span.last AND business_date BETWEEN $2 AND $3
              AND kind > :kind_exchange AND kind IN (:kind_forfeit, :kind_reinstate, :kind_reversal, :kind_journal)
              AND accounts && ARRAY[account_of(:account_forfeits, 0, 0), account_of(:account_tax, 0, 0)]
           OFFSET 0) AS e
      LEFT JOIN LATERAL (
           SELECT r.kind, r.business_date
             FROM entry_reference f JOIN entry r ON r.scheme = f.scheme AND r.entry = f.referred
            WHERE e.kind = :kind_reversal AND f.scheme = $1::integer AND f.entry = e.entry) o ON true
     CROSS JOIN LATERAL (
           SELECT -sum(l.amount) FILTER (WHERE account_kind_of(l.account) = :account_forfeits) AS base,
                  coalesce(-sum(l.amount) FILTER (WHERE account_kind_of(l.account) = :account_tax), 0) AS tax
             FROM unnest(e.accounts, e.amounts) AS l(account, amount)) AS moved),
part (place, rate, base, tax) AS (
    SELECT CASE fee WHEN 'service' THEN 1 WHEN 'standing' THEN 2 ELSE 6 END, tax_rate_ppm,
           CASE fee WHEN 'handling' THEN -base ELSE base END, CASE fee WHEN 'handling' THEN -tax ELSE tax END
      FROM shared
    UNION ALL
    SELECT 1, NULL, service_fee, service_tax FROM older WHERE service_fee IS NOT NULL
    UNION ALL
    SELECT 6, NULL, handling_fee, handling_tax FROM older WHERE handling_fee IS NOT NULL
    UNION ALL
    SELECT CASE kind WHEN :kind_reinstate THEN 4 ELSE 3 END,
           (SELECT t.tax_rate_ppm FROM terms t WHERE t.scheme = $1::integer AND t.effective_date <= rate_date
             ORDER BY t.effective_date DESC LIMIT 1), base, tax
      FROM posted WHERE kind <> :kind_journal
    UNION ALL
    SELECT 8, NULL, NULL, tax FROM posted WHERE kind = :kind_journal AND tax <> 0),
line (place, rate, base, tax) AS (
    SELECT place, rate, sum(base), sum(tax) FROM part GROUP BY place, rate
    UNION ALL
    SELECT CASE WHEN place < 6 THEN 5 ELSE 7 END, NULL, sum(base), sum(tax) FROM part WHERE place < 8 GROUP BY 1
    UNION ALL
    SELECT 9, NULL, NULL, coalesce(sum(tax), 0) FROM part)
SELECT CASE WHEN place <= 5 THEN 'output' WHEN place <= 7 THEN 'input' END,
       (ARRAY['service_fees', 'standing_fees', 'forfeits', 'reinstated', 'total', 'handling_fees', 'total', 'journals', 'total'])[place],
       rate_text(rate), amount_text(base, decimals), amount_text(tax, decimals),
       (ARRAY['service_fees', 'service_fees', 'forfeits', 'forfeits', NULL, 'handling_fees', NULL, 'tax'])[place]
  FROM line CROSS JOIN of_scheme
 ORDER BY place, rate
