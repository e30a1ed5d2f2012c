-- The trend of the restriction at design airflow beside the TESP's, where the airflow of enough visits is known. Both
-- rising: the ducts clog. TESP alone: the fan was set faster. Restriction alone: a constant-airflow fan gives up air.
CREATE OR REPLACE TABLE restriction_trend ( -- noqa: PRS
    site_id VARCHAR USING COMPRESSION uncompressed,
    equipment_id VARCHAR USING COMPRESSION uncompressed,
    mode VARCHAR,
    n_visits BIGINT,
    span_days BIGINT,
    slope_inwc_per_year DOUBLE,
    slope_lo DOUBLE,
    slope_hi DOUBLE,
    mann_kendall_s BIGINT,
    p_value DOUBLE,
    q_value DOUBLE,
    trend VARCHAR,
    tesp_trend VARCHAR
);

INSERT INTO restriction_trend BY NAME
SELECT
    v.site_id,
    v.equipment_id,
    v.mode,
    s.n_visits,
    s.span_days,
    s.slope_per_year AS slope_inwc_per_year,
    s.slope_lo,
    s.slope_hi,
    s.mann_kendall_s::BIGINT AS mann_kendall_s,
    s.p_value,
    q.q_value,
    trend_word(s.slope_per_year, q.q_value, getvariable('trend_q')) AS trend,
    coalesce(trend_word(t.slope_per_year, tq.q_value, getvariable('trend_q')), 'too_few_visits') AS tesp_trend
FROM series_test AS s
INNER JOIN trend_adjusted AS q ON s.series = q.series AND s.unit_no = q.number
INNER JOIN staging.unit_verdict AS v ON s.unit_no = v.unit_no
LEFT JOIN series_test AS t ON s.unit_no = t.unit_no AND t.series = 'tesp'
LEFT JOIN trend_adjusted AS tq ON s.unit_no = tq.number AND tq.series = 'tesp'
WHERE s.series = 'restriction';
