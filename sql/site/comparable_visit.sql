-- Visits that can be compared with one another: valid and like new. Readings of a technician and instrument whose
-- offset is material and significant are corrected by it (data contract, "Doubtful zeroes and levels").
CREATE OR REPLACE TEMP VIEW comparable_visit AS
SELECT
    2 * v.equipment_no + (v.mode = 'heating')::INTEGER AS unit_no,
    v.visited_on,
    v.since_last_work,
    epoch(v.visited_at) / 86400.0 / getvariable('days_per_year') AS at_year,
    -- A technician with an instrument: they are only told apart, for which a hash does.
    hash(v.technician_id, coalesce(v.instrument_id, '')) AS measurer,
    v.sides_known,
    v.return_inwc - coalesce(c.return_inwc, 0) AS return_inwc,
    v.supply_inwc - coalesce(c.supply_inwc, 0) AS supply_inwc,
    v.tesp_inwc - coalesce(c.supply_inwc, 0) + coalesce(c.return_inwc, 0) AS tesp_inwc,
    c.technician_id IS NOT NULL AS offset_corrected,
    coalesce(c.variance, pow(getvariable('measurer_sd'), 2)) AS measurer_variance,
    v.airflow_cfm,
    v.airflow_ratio,
    v.power_w,
    v.return_restriction_inwc,
    v.supply_restriction_inwc,
    v.airflow_setting_inwc,
    v.filter_drop_inwc,
    v.coil_drop_inwc,
    v.tap_used
FROM staging.visit_computed AS v
LEFT JOIN correction AS c ON v.technician_id = c.technician_id AND coalesce(v.instrument_id, '') = c.instrument_id
WHERE v.like_new AND NOT v.on_work_day;
