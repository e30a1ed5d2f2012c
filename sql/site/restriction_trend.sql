-- The trend of the restriction at design airflow beside the TESP's, where the airflow of enough visits is known
-- (unit_restriction.sql). Both rising: the ducts clog. TESP alone: the fan was set faster. Restriction alone: a
-- constant-airflow fan gives up air.
CREATE OR REPLACE VIEW restriction_trend AS
SELECT
    s.site_id,
    s.equipment_id,
    s.mode,
    s.n_visits,
    s.span_days,
    s.slope_inwc_per_year,
    s.slope_lo,
    s.slope_hi,
    s.mann_kendall_s,
    s.p_value,
    r.q_value,
    trend_word(s.slope_inwc_per_year, r.q_value, r.q_limit) AS trend,
    coalesce(trend_word(s.tesp_slope_inwc_per_year, t.q_value, t.q_limit), 'too_few_visits') AS tesp_trend
FROM staging.unit_restriction AS s
INNER JOIN staging.trend_rate AS r ON r.series = 'restriction' AND s.p_value = r.p_value
LEFT JOIN staging.trend_rate AS t ON t.series = 'tesp' AND s.tesp_p_value = t.p_value;
