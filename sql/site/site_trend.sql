-- Trend of each equipment and mode since the last work, and the day on which a rising one reaches the rating.
CREATE OR REPLACE TABLE site_trend AS
SELECT
    v.site_id,
    v.equipment_id,
    v.mode,
    coalesce(s.n_visits, 0) AS n_visits,
    s.span_days,
    s.slope_per_year AS slope_inwc_per_year,
    s.slope_lo,
    s.slope_hi,
    s.mann_kendall_s,
    s.p_value,
    s.q_value,
    coalesce(s.trend, 'too_few_visits') AS trend,
    CASE
        WHEN s.trend = 'rising' AND v.level_inwc < v.rated_tesp_inwc
            THEN crossing_day(s.middle_year, s.middle_value, s.slope_per_year, v.rated_tesp_inwc)
    END AS rated_crossing_on,
    CASE
        WHEN s.trend = 'rising' AND v.level_inwc < v.rated_tesp_inwc
            THEN crossing_day(s.middle_year, s.middle_value, s.slope_hi, v.rated_tesp_inwc)
    END AS rated_crossing_earliest_on,
    CASE
        WHEN s.trend = 'rising' AND v.level_inwc < v.rated_tesp_inwc AND s.slope_lo > 0
            THEN crossing_day(s.middle_year, s.middle_value, s.slope_lo, v.rated_tesp_inwc)
    END AS rated_crossing_latest_on
FROM site_static AS v
LEFT JOIN series_slope AS s USING (equipment_id, mode)
ORDER BY v.equipment_id, v.mode;
