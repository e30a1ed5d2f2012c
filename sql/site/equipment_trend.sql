-- Trend of each piece of equipment, its modes taken together without pooling their readings (trend_test.sql).
CREATE OR REPLACE TABLE equipment_trend ( -- noqa: PRS
    site_id VARCHAR USING COMPRESSION uncompressed,
    equipment_id VARCHAR USING COMPRESSION uncompressed,
    n_visits BIGINT,
    span_days BIGINT,
    slope_inwc_per_year DOUBLE,
    slope_lo DOUBLE,
    slope_hi DOUBLE,
    kendall_s BIGINT,
    kendall_p DOUBLE,
    p_value DOUBLE,
    q_value DOUBLE,
    trend VARCHAR
);

INSERT INTO equipment_trend BY NAME
SELECT
    s.* EXCLUDE (equipment_no),
    q.q_value,
    coalesce(trend_word(s.slope_inwc_per_year, q.q_value, q.q_limit), 'too_few_visits') AS trend
FROM equipment_line AS s
LEFT JOIN every_rate AS q ON q.series = 'line' AND s.p_value = q.p_value;
