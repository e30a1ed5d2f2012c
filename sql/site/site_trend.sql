-- Trend of each equipment and mode since the last work, and the day on which a rising one reaches the rating: along the
-- line of the Theil-Sen slope through the medians of time and TESP.
CREATE OR REPLACE TABLE site_trend ( -- noqa: PRS
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
    rated_crossing_on DATE,
    rated_crossing_earliest_on DATE,
    rated_crossing_latest_on DATE
);

INSERT INTO site_trend BY NAME
WITH tested AS (
    SELECT
        s.*,
        q.q_value,
        trend_word(s.slope_per_year, q.q_value, getvariable('trend_q')) AS trend
    FROM series_test AS s
    INNER JOIN trend_adjusted AS q ON s.series = q.series AND s.unit_no = q.number
    WHERE s.series = 'tesp'
),

told AS (
    SELECT
        v.site_id,
        v.equipment_id,
        v.mode,
        v.unit_no,
        v.level_inwc,
        v.rated_tesp_inwc,
        v.n_visits,
        date_diff('day', v.first_on, v.last_on) AS span_days,
        t.* EXCLUDE (series, unit_no, n_visits, span_days)
    FROM staging.unit_verdict AS v
    LEFT JOIN tested AS t USING (unit_no)
)

SELECT
    site_id,
    equipment_id,
    mode,
    n_visits,
    span_days,
    slope_per_year AS slope_inwc_per_year,
    slope_lo,
    slope_hi,
    mann_kendall_s::BIGINT AS mann_kendall_s,
    p_value,
    q_value,
    coalesce(trend, 'too_few_visits') AS trend,
    CASE
        WHEN trend = 'rising' AND level_inwc < rated_tesp_inwc
            THEN crossing_day(middle_year, middle, slope_per_year, rated_tesp_inwc)
    END AS rated_crossing_on,
    CASE
        WHEN trend = 'rising' AND level_inwc < rated_tesp_inwc
            THEN crossing_day(middle_year, middle, slope_hi, rated_tesp_inwc)
    END AS rated_crossing_earliest_on,
    CASE
        WHEN trend = 'rising' AND level_inwc < rated_tesp_inwc AND slope_lo > 0
            THEN crossing_day(middle_year, middle, slope_lo, rated_tesp_inwc)
    END AS rated_crossing_latest_on
FROM told;
