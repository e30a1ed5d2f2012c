-- Trend of each equipment and mode since the last work, and the day on which a rising one reaches the rating
-- (unit_trend.sql).
CREATE OR REPLACE VIEW site_trend AS
WITH told AS (
    SELECT
        t.*,
        r.q_value,
        trend_word(t.slope_inwc_per_year, r.q_value, r.q_limit) AS word
    FROM staging.unit_trend AS t
    LEFT JOIN staging.trend_rate AS r ON r.series = 'tesp' AND t.p_value = r.p_value
)

SELECT
    site_id,
    equipment_id,
    mode,
    n_visits,
    span_days,
    slope_inwc_per_year,
    slope_lo,
    slope_hi,
    mann_kendall_s,
    p_value,
    q_value,
    coalesce(word, 'too_few_visits') AS trend,
    CASE WHEN word = 'rising' THEN crossing_on END AS rated_crossing_on,
    CASE WHEN word = 'rising' THEN crossing_earliest_on END AS rated_crossing_earliest_on,
    CASE WHEN word = 'rising' THEN crossing_latest_on END AS rated_crossing_latest_on
FROM told;
