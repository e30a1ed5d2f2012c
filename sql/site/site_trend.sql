-- Trend of each equipment and mode since the last work, and the day on which a rising one reaches the rating.
CREATE OR REPLACE TABLE site_trend AS
WITH told AS (
    SELECT
        v.site_id,
        v.equipment_id,
        v.mode,
        v.level_inwc,
        v.rated_tesp_inwc,
        s.* EXCLUDE (series, equipment_id, mode),
        q.q_value,
        coalesce(trend_word(s.slope_per_year, q.q_value, getvariable('trend_q')), 'too_few_visits') AS trend
    FROM site_static AS v
    LEFT JOIN series_test AS s ON v.equipment_id = s.equipment_id AND v.mode = s.mode AND s.series = 'tesp'
    LEFT JOIN trend_adjusted AS q ON v.equipment_id = q.equipment_id AND v.mode = q.mode AND q.series = 'tesp'
)

SELECT
    site_id,
    equipment_id,
    mode,
    coalesce(n_visits, 0) AS n_visits,
    span_days,
    slope_per_year AS slope_inwc_per_year,
    slope_lo,
    slope_hi,
    mann_kendall_s,
    p_value,
    q_value,
    trend,
    CASE
        WHEN trend = 'rising' AND level_inwc < rated_tesp_inwc
            THEN crossing_day(middle_year, middle_value, slope_per_year, rated_tesp_inwc)
    END AS rated_crossing_on,
    CASE
        WHEN trend = 'rising' AND level_inwc < rated_tesp_inwc
            THEN crossing_day(middle_year, middle_value, slope_hi, rated_tesp_inwc)
    END AS rated_crossing_earliest_on,
    CASE
        WHEN trend = 'rising' AND level_inwc < rated_tesp_inwc AND slope_lo > 0
            THEN crossing_day(middle_year, middle_value, slope_lo, rated_tesp_inwc)
    END AS rated_crossing_latest_on
FROM told
ORDER BY equipment_id, mode;
