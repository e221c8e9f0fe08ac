-- A reversal takes back the fees of the day to which the reversed event was posted, not those of its own day.

-- What reversals of a business day took back, at a site, of events that were posted on an earlier day: cups issued and
-- returned at the counter. The close charges them by the terms of that earlier day. Both figures are positive.
CREATE TABLE reversed_day (
    scheme        integer NOT NULL,
    business_date date NOT NULL, -- of the reversals
    site          integer NOT NULL,
    original_date date NOT NULL CHECK (original_date < business_date),
    issued        bigint NOT NULL CHECK (issued >= 0),
    returned      bigint NOT NULL CHECK (returned >= 0),
    PRIMARY KEY (scheme, business_date, site, original_date)
);

-- Days through this one were closed by a version that took back the fees of the closing day instead.
CREATE TABLE older_fee_rule (
    scheme  integer PRIMARY KEY,
    through date NOT NULL
);
INSERT INTO older_fee_rule
SELECT scheme, max(business_date) FROM business_day WHERE state = 'closed' GROUP BY scheme;

-- What was reversed already on days that are not closed yet.
INSERT INTO reversed_day
SELECT e.scheme, e.business_date, o.site, o.business_date, coalesce(-sum(l.amount) FILTER (WHERE l.amount < 0), 0),
       coalesce(sum(l.amount) FILTER (WHERE l.amount > 0), 0)
  FROM business_day d
  JOIN entry e ON e.scheme = d.scheme AND e.entry BETWEEN d.first_entry AND d.last_entry AND e.business_date = d.business_date
  JOIN entry_reference r ON r.scheme = e.scheme AND r.entry = e.entry
  JOIN entry o ON o.scheme = r.scheme AND o.entry = r.referred
 CROSS JOIN unnest(o.accounts, o.amounts) AS l(account, amount)
 WHERE d.state <> 'closed' AND e.kind = 11 AND o.kind IN (1, 2, 3) AND o.business_date < e.business_date
   AND account_kind_of(l.account) IN (33, 34)
 GROUP BY e.scheme, e.business_date, o.site, o.business_date;

-- Half to even, as taxes are rounded.
CREATE FUNCTION round_half_even(number numeric) RETURNS numeric
    LANGUAGE sql IMMUTABLE STRICT PARALLEL SAFE
    RETURN CASE WHEN abs(number - trunc(number)) = 0.5 THEN 2 * round(number / 2) ELSE round(number) END;

GRANT SELECT, INSERT ON reversed_day TO depositd_service;
GRANT UPDATE (issued, returned) ON reversed_day TO depositd_service;
GRANT SELECT ON older_fee_rule TO depositd_service;
