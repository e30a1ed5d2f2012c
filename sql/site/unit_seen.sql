-- Each equipment and mode with any loaded visit: how many, how many valid, and the level as found, whatever the condition.
CREATE OR REPLACE TEMP TABLE unit_seen AS
SELECT
    v.equipment_no,
    v.mode::VARCHAR AS mode,
    count(*) AS n_loaded,
    count(*) FILTER (WHERE v.set_aside_because IS NULL) AS n_valid,
    max(v.visited_on) FILTER (WHERE v.set_aside_because IS NULL) AS last_valid_on,
    avg(
        v.supply_inwc - v.return_inwc - coalesce(c.supply_inwc, 0) + coalesce(c.return_inwc, 0)
    ) FILTER (WHERE v.set_aside_because IS NULL AND v.since_last_work) AS as_found_level_inwc,
    count(*) FILTER (WHERE v.set_aside_because IS NULL AND v.since_last_work) AS n_as_found
FROM staging.visit_measured AS v
LEFT JOIN correction AS c ON v.technician_id = c.technician_id AND coalesce(v.instrument_id, '') = c.instrument_id
GROUP BY v.equipment_no, v.mode;
