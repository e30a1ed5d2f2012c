-- What restriction_trend says of each unit with enough visits whose airflow is known, but for false discovery rates
-- (unit_trend.sql says why).
CREATE OR REPLACE TABLE staging.unit_restriction ( -- noqa: PRS
    equipment_no INTEGER,
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
    tesp_slope_inwc_per_year DOUBLE,
    tesp_p_value DOUBLE
);

INSERT INTO staging.unit_restriction BY NAME
SELECT
    v.equipment_no,
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
    t.slope_per_year AS tesp_slope_inwc_per_year,
    t.p_value AS tesp_p_value
FROM series_test AS s
INNER JOIN staging.unit_verdict AS v ON s.unit_no = v.unit_no
LEFT JOIN series_test AS t ON s.unit_no = t.unit_no AND t.series = 'tesp'
WHERE s.series = 'restriction';
