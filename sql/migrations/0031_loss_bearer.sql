-- Who bears the loss of cups on the road, unless the event says so.

ALTER TABLE scheme ADD COLUMN loss_bearer text NOT NULL DEFAULT 'receiver'
    CHECK (loss_bearer IN ('sender', 'receiver', 'operator'));

-- Recorded changes name bearer and group only where they are not the usual ones, so that older changes stay as they are.
CREATE OR REPLACE FUNCTION scheme_state(c scheme) RETURNS jsonb
    LANGUAGE sql STABLE
    RETURN jsonb_strip_nulls(jsonb_build_object(
        'currency', c.currency, 'time_zone', c.time_zone, 'cut_off', to_char(c.cut_off, 'HH24:MI'),
        'close_after_minutes', c.close_after_minutes, 'stock_terms', c.stock_terms,
        'return_target', rate_text(c.return_target_ppm), 'dual_control', c.dual_control,
        'count_tolerance', c.count_tolerance, 'variance_limit', amount_text(c.variance_limit, c.decimals),
        'carry_days', c.carry_days, 'loss_bearer', nullif(c.loss_bearer, 'receiver'),
        'operator', c.operator, 'holidays', c.holidays, 'closed_on', c.closed_on,
        'group', nullif(c.posting_group, 1)));
