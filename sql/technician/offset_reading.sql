-- The readings of offset_visit; place = equipment, mode and segment. Years are counted from the instrument's recorded
-- calibration where there is one, so that no year lies on both sides of it. Places go by the equipment's name: its number
-- is that of its coming, and groups and the last digits of the fits would tell in which order the drops came.
CREATE OR REPLACE TEMP TABLE offset_reading AS
WITH unit AS (
    SELECT
        equipment_no,
        site_no,
        row_number() OVER (ORDER BY equipment_id) - 1 AS by_name,
        (SELECT max(segment) + 1 FROM offset_visit) AS segments
    FROM staging.equipment_facts
    WHERE equipment_no IN (SELECT v.equipment_no FROM offset_visit AS v)
)

SELECT
    v.visit_row,
    u.site_no,
    (u.by_name * 2 + (v.mode = 'heating')::INTEGER) * u.segments + v.segment AS place,
    -- Sorts the readings by place, within it by the visit, whatever the order they were found in.
    (place << 32) | (hash(v.visit_id) & 4294967295)::BIGINT AS in_order,
    m.measurer,
    floor(
        date_diff('day', coalesce(m.calibrated_on, DATE '2000-01-01'), v.visited_on) / getvariable('days_per_year')
    )::INTEGER AS year_no,
    v.visited_on,
    v.return_inwc,
    v.supply_inwc,
    v.supply_inwc - v.return_inwc AS tesp_inwc
FROM offset_visit AS v
INNER JOIN unit AS u ON v.equipment_no = u.equipment_no
INNER JOIN offset_measurer AS m ON v.technician_id = m.technician_id AND v.instrument_id = m.instrument_id;
