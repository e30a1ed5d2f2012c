-- What equipment_trend says of each piece of equipment, but for false discovery rates over the fleet.
CREATE OR REPLACE TEMP TABLE equipment_line AS
SELECT
    s.equipment_no,
    s.site_id,
    s.equipment_id,
    s.n_visits,
    date_diff('day', s.first_on, s.last_on) AS span_days,
    t.slope_inwc_per_year,
    t.slope_inwc_per_year - t.half_width AS slope_lo,
    t.slope_inwc_per_year + t.half_width AS slope_hi,
    t.kendall_s,
    t.kendall_p,
    t.p_value
FROM staging.equipment_verdict AS s
LEFT JOIN trend_test AS t USING (equipment_no);
