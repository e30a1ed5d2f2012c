-- What equipment_trend says of each piece of equipment, but for false discovery rates over the fleet.
CREATE OR REPLACE TEMP TABLE equipment_line AS
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
    s.*,
    t.slope_inwc_per_year,
    t.slope_inwc_per_year - t.half_width AS slope_lo,
    t.slope_inwc_per_year + t.half_width AS slope_hi,
    t.kendall_s,
    t.kendall_p,
    t.p_value
FROM seen AS s
LEFT JOIN trend_test AS t USING (equipment_no);
