-- What site_trend says of each unit but what false discovery rates over the fleet decide: those move every day for every
-- unit, and the view (site_trend.sql) looks them up. The days of crossing: along the line of the Theil-Sen slope, and of
-- the ends of its interval, through the medians of time and TESP.
CREATE OR REPLACE TABLE staging.unit_trend ( -- noqa: PRS
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
    crossing_on DATE,
    crossing_earliest_on DATE,
    crossing_latest_on DATE
);

INSERT INTO staging.unit_trend BY NAME
-- Series go by the setting's years, the macro by years of 365.25 days.
WITH series AS (
    SELECT
        *,
        middle_year * getvariable('days_per_year') / 365.25 AS middle_at,
        365.25 / getvariable('days_per_year') AS longer
    FROM series_test
    WHERE series = 'tesp'
)

SELECT
    v.equipment_no,
    v.site_id,
    v.equipment_id,
    v.mode,
    v.n_visits,
    date_diff('day', v.first_on, v.last_on) AS span_days,
    t.slope_per_year AS slope_inwc_per_year,
    t.slope_lo,
    t.slope_hi,
    t.mann_kendall_s::BIGINT AS mann_kendall_s,
    t.p_value,
    CASE
        WHEN t.slope_per_year > 0 AND v.level_inwc < v.rated_tesp_inwc
            THEN crossing_day(t.middle_at, t.middle, t.slope_per_year * t.longer, v.rated_tesp_inwc)
    END AS crossing_on,
    CASE
        WHEN t.slope_hi > 0 AND v.level_inwc < v.rated_tesp_inwc
            THEN crossing_day(t.middle_at, t.middle, t.slope_hi * t.longer, v.rated_tesp_inwc)
    END AS crossing_earliest_on,
    CASE
        WHEN t.slope_lo > 0 AND v.level_inwc < v.rated_tesp_inwc
            THEN crossing_day(t.middle_at, t.middle, t.slope_lo * t.longer, v.rated_tesp_inwc)
    END AS crossing_latest_on
FROM staging.unit_verdict AS v
LEFT JOIN series AS t ON v.unit_no = t.unit_no;
