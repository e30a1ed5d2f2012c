-- How far each visit lies from its unit's robust line (one slope, a level a mode), and the same brought to what it would
-- be with many visits.
CREATE OR REPLACE TEMP TABLE trend_residual AS
SELECT
    v.equipment_id,
    v.mode,
    v.at_year,
    v.tesp_inwc,
    v.technician_id,
    v.instrument_id,
    v.measurer_variance,
    t.n_visits,
    t.n_modes,
    v.tesp_inwc - t.slope * v.at_year
    - median(v.tesp_inwc - t.slope * v.at_year) OVER (PARTITION BY v.equipment_id, v.mode) AS off_line,
    abs(off_line) / sqrt(1 - (t.n_modes + 1.0) / t.n_visits) AS distance_inwc
FROM level_visit AS v
INNER JOIN trend_start AS t USING (equipment_id);
