-- The readings that the crossed fits look at: valid, like new, sides known; place = equipment, mode and segment.
-- A measurer is a technician with an instrument; a cell is one in one year, counted from the instrument's recorded
-- calibration where there is one, so that no cell lies on both sides of it. All go by numbers: words are dear to join.
CREATE OR REPLACE TEMP TABLE offset_measurer AS
SELECT
    (row_number() OVER (ORDER BY r.technician_id, r.instrument_id) - 1)::INTEGER AS measurer,
    r.technician_id,
    r.instrument_id,
    i.calibrated_on
FROM (
    SELECT DISTINCT technician_id, coalesce(instrument_id, '') AS instrument_id
    FROM staging.visit_measured
    WHERE like_new AND sides_known AND NOT on_work_day
) AS r
LEFT JOIN instrument AS i ON r.instrument_id = i.instrument_id;

CREATE OR REPLACE TEMP TABLE offset_reading AS
WITH unit AS (
    SELECT
        equipment_id,
        dense_rank() OVER (ORDER BY site_id) AS site_no,
        row_number() OVER (ORDER BY equipment_id) AS unit_no,
        (SELECT max(segment) + 1 FROM staging.visit_measured) AS segments
    FROM equipment
)

SELECT
    v.rowid AS visit_row,
    u.site_no::INTEGER AS site_no,
    (u.unit_no * 2 + (v.mode = 'heating')::INTEGER) * u.segments + v.segment AS place,
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
FROM staging.visit_measured AS v
INNER JOIN unit AS u ON v.equipment_id = u.equipment_id
INNER JOIN offset_measurer AS m
    ON v.technician_id = m.technician_id AND coalesce(v.instrument_id, '') = m.instrument_id
WHERE v.like_new AND v.sides_known AND NOT v.on_work_day;

CREATE OR REPLACE TEMP TABLE offset_cell AS
SELECT
    (row_number() OVER (ORDER BY measurer, year_no) - 1)::INTEGER AS cell,
    measurer,
    year_no,
    count(*) AS n_visits,
    avg(date_diff('day', DATE '2000-01-01', visited_on)) / getvariable('days_per_year') AS years,
    min(visited_on) AS first_on,
    max(visited_on) AS last_on
FROM offset_reading
GROUP BY measurer, year_no;
