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
WITH seen AS (
    SELECT
        equipment_no,
        any_value(site_id) AS site_id,
        any_value(equipment_id) AS equipment_id,
        sum(n_visits)::BIGINT AS n_visits,
        date_diff('day', min(first_on), max(last_on)) AS span_days
    FROM staging.unit_verdict
    GROUP BY equipment_no
)

SELECT
    s.site_id,
    s.equipment_id,
    s.n_visits,
    s.span_days,
    a.slope_inwc_per_year,
    a.slope_inwc_per_year - a.half_width AS slope_lo,
    a.slope_inwc_per_year + a.half_width AS slope_hi,
    a.kendall_s,
    a.kendall_p,
    a.p_value,
    q.q_value,
    coalesce(trend_word(a.slope_inwc_per_year, q.q_value, getvariable('trend_q')), 'too_few_visits') AS trend
FROM seen AS s
LEFT JOIN trend_test AS a USING (equipment_no)
LEFT JOIN trend_adjusted AS q ON s.equipment_no = q.number AND q.series = 'line';
