-- The trend of the restriction at design airflow beside the TESP's, where the airflow of enough visits is known. Both
-- rising: the ducts clog. TESP alone: the fan was set faster. Restriction alone: a constant-airflow fan gives up air.
CREATE OR REPLACE TABLE restriction_trend AS
SELECT
    t.site_id,
    u.equipment_id,
    u.mode,
    c.n_airflow AS n_visits,
    c.airflow_span_days AS span_days,
    s.slope_per_year AS slope_inwc_per_year,
    s.slope_lo,
    s.slope_hi,
    s.mann_kendall_s::BIGINT AS mann_kendall_s,
    s.p_value,
    q.q_value,
    trend_word(s.slope_per_year, q.q_value, getvariable('trend_q')) AS trend,
    t.trend AS tesp_trend
FROM series_test AS s
INNER JOIN trend_adjusted AS q ON s.series = q.series AND s.unit_no = q.number
INNER JOIN level_centre AS c ON s.unit_no = c.unit_no
INNER JOIN unit AS u ON s.unit_no = u.unit_no
INNER JOIN site_trend AS t ON u.equipment_id = t.equipment_id AND u.mode = t.mode
WHERE s.series = 'restriction'
ORDER BY s.unit_no;
