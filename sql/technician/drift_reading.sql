-- The readings of the crossed fit again, with the gauge's years: a cell is a technician with an instrument in one year,
-- counted from the recorded calibration where there is one, so that no cell lies on both sides of it.
CREATE OR REPLACE TABLE drift_reading AS
WITH dated AS (
    SELECT
        r.visit_id,
        r.place,
        r.technician_id,
        r.instrument_id,
        r.return_inwc,
        r.supply_inwc,
        r.tesp_inwc,
        v.visited_on,
        i.calibrated_on,
        date_diff('day', DATE '2000-01-01', v.visited_on) / getvariable('days_per_year') AS years,
        floor(
            date_diff('day', coalesce(i.calibrated_on, DATE '2000-01-01'), v.visited_on)
            / getvariable('days_per_year')
        )::INTEGER AS year_no
    FROM offset_reading AS r
    INNER JOIN visit_static AS v USING (visit_id)
    LEFT JOIN instrument AS i ON r.instrument_id = i.instrument_id
),

cell AS (
    SELECT
        technician_id,
        instrument_id,
        year_no,
        row_number() OVER (ORDER BY instrument_id, technician_id, year_no) - 1 AS cell
    FROM (SELECT DISTINCT technician_id, instrument_id, year_no FROM dated)
)

SELECT d.*, c.cell
FROM dated AS d
INNER JOIN cell AS c USING (technician_id, instrument_id, year_no)
ORDER BY d.visit_id;

CREATE OR REPLACE TABLE drift_cell AS
SELECT
    cell,
    any_value(technician_id) AS technician_id,
    any_value(instrument_id) AS instrument_id,
    any_value(year_no) AS year_no,
    any_value(calibrated_on) AS calibrated_on,
    coalesce(any_value(calibrated_on IS NOT NULL AND year_no >= 0), FALSE) AS after_calibration,
    count(*) AS n_visits,
    sum(years) / count(*) AS years,
    min(visited_on) AS first_on,
    max(visited_on) AS last_on
FROM drift_reading
GROUP BY cell
ORDER BY cell;
