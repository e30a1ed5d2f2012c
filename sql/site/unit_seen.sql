-- Each equipment and mode with any loaded visit: how many, how many valid, and the level as found, whatever the condition.
-- Where the sides are not known nothing is taken off: an offset of either port may be on either side, and the total
-- reads as much too high in the one case as too low in the other.
CREATE OR REPLACE TEMP TABLE unit_seen AS
SELECT
    v.equipment_no,
    v.mode::VARCHAR AS mode,
    count(*) AS n_loaded,
    count(*) FILTER (WHERE v.set_aside_because IS NULL) AS n_valid,
    max(v.visited_on) FILTER (WHERE v.set_aside_because IS NULL) AS last_valid_on,
    avg(
        v.supply_inwc - v.return_inwc
        - CASE WHEN v.sides_known THEN coalesce(c.supply_inwc, 0) - coalesce(c.return_inwc, 0) ELSE 0 END
    ) FILTER (WHERE v.set_aside_because IS NULL AND v.since_last_work) AS as_found_level_inwc,
    count(*) FILTER (WHERE v.set_aside_because IS NULL AND v.since_last_work) AS n_as_found
FROM staging.visit_measured AS v
LEFT JOIN correction AS c ON v.technician_id = c.technician_id AND coalesce(v.instrument_id, '') = c.instrument_id
GROUP BY v.equipment_no, v.mode;
