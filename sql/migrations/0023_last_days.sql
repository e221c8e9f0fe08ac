-- A scheme may have a last day. From the next day on it takes returns and the events of accountants.

ALTER TABLE scheme ADD COLUMN closed_on date; -- its last day; null: none is known

-- Recorded changes name the last day only where there is one, so that older ones stay as they are.
CREATE OR REPLACE FUNCTION scheme_state(c scheme) RETURNS jsonb
    LANGUAGE sql STABLE
    RETURN jsonb_strip_nulls(jsonb_build_object(
        'currency', c.currency, 'time_zone', c.time_zone, 'cut_off', to_char(c.cut_off, 'HH24:MI'),
        'close_after_minutes', c.close_after_minutes, 'stock_terms', c.stock_terms,
        'return_target', rate_text(c.return_target_ppm), 'dual_control', c.dual_control,
        'count_tolerance', c.count_tolerance, 'variance_limit', amount_text(c.variance_limit, c.decimals),
        'carry_days', c.carry_days, 'operator', c.operator, 'holidays', c.holidays, 'closed_on', c.closed_on));
