-- Pay days: terms say on which dates of business days positions are settled. On other days all positions stay.

ALTER TABLE terms
    ADD COLUMN pay_weekdays   integer[], -- 1 Monday to 7 Sunday, ascending
    ADD COLUMN pay_month_days integer[], -- 1 to 31, ascending; if a month lacks a day, its last day stands for it
    ADD CHECK (pay_weekdays IS NULL OR pay_month_days IS NULL), -- both null: every day
    ADD CHECK (cardinality(pay_weekdays) > 0 AND pay_weekdays <@ '{1,2,3,4,5,6,7}'),
    ADD CHECK (cardinality(pay_month_days) > 0 AND 1 <= ALL (pay_month_days) AND 31 >= ALL (pay_month_days));

CREATE FUNCTION terms_pay_on(t terms, day date) RETURNS boolean
    LANGUAGE sql IMMUTABLE PARALLEL SAFE
    RETURN CASE WHEN t.pay_weekdays IS NOT NULL THEN extract(isodow FROM day)::integer = ANY (t.pay_weekdays)
                WHEN t.pay_month_days IS NOT NULL
                THEN extract(day FROM day)::integer = ANY (t.pay_month_days)
                     OR extract(month FROM day + 1) <> extract(month FROM day)
                        AND extract(day FROM day)::integer < ANY (t.pay_month_days)
                ELSE true END;

-- Whether a business day is a pay day, by the terms in force on it. Null: there are none yet.
CREATE FUNCTION pays_on(of_scheme integer, day date) RETURNS boolean
    LANGUAGE sql STABLE STRICT PARALLEL SAFE
    RETURN (SELECT terms_pay_on(t, day) FROM terms t WHERE t.scheme = of_scheme AND t.effective_date <= day
             ORDER BY t.effective_date DESC LIMIT 1);

-- The first pay day after a business day, by all terms that are known; null: none within a year.
CREATE FUNCTION next_pay_day(of_scheme integer, after date) RETURNS date
    LANGUAGE sql STABLE STRICT PARALLEL SAFE
    RETURN (WITH RECURSIVE day(n, pays) AS (
                SELECT 1, pays_on(of_scheme, after + 1)
                UNION ALL
                SELECT n + 1, pays_on(of_scheme, after + n + 1) FROM day WHERE pays IS NOT TRUE AND n < 366)
            SELECT after + n FROM day WHERE pays);

-- As the interface writes them: daily, weekdays or days of the month.
CREATE FUNCTION pay_days_json(t terms) RETURNS jsonb
    LANGUAGE sql IMMUTABLE PARALLEL SAFE
    RETURN CASE WHEN t.pay_weekdays IS NOT NULL
                THEN (SELECT jsonb_agg(('{mon,tue,wed,thu,fri,sat,sun}'::text[])[d] ORDER BY d) FROM unnest(t.pay_weekdays) AS d)
                WHEN t.pay_month_days IS NOT NULL THEN to_jsonb(t.pay_month_days)
                ELSE to_jsonb('daily'::text) END;

-- What terms say of pay days in a recorded change: nothing where there are none, so that older changes stay as they are.
CREATE FUNCTION terms_pay_days_state(t terms) RETURNS jsonb
    LANGUAGE sql IMMUTABLE
    RETURN CASE WHEN t.pay_weekdays IS NULL AND t.pay_month_days IS NULL THEN '{}'
                ELSE jsonb_build_object('pay_days', pay_days_json(t)) END;
CREATE OR REPLACE FUNCTION terms_state(t terms) RETURNS jsonb
    LANGUAGE sql STABLE
    RETURN (SELECT jsonb_build_object(
                'netting', t.netting, 'minimum_payment', amount_text(t.minimum_payment, c.decimals),
                'service_fee', amount_text(t.service_fee, c.decimals), 'handling_fee', amount_text(t.handling_fee, c.decimals),
                'tax_rate', rate_text(t.tax_rate_ppm), 'shortage_terms', t.shortage_terms, 'variance_terms', t.variance_terms)
                || terms_pay_days_state(t)
              FROM scheme c WHERE c.id = t.scheme);

-- A position stays untouched because the day is no pay day, or because it is small. carried_since is of small ones: the
-- first pay day on which the position was carried for its size.
ALTER TABLE position ADD COLUMN carried boolean;
UPDATE position SET carried = carried_since IS NOT NULL;
ALTER TABLE position
    ALTER COLUMN carried SET NOT NULL,
    ADD CHECK (carried OR carried_since IS NULL);
