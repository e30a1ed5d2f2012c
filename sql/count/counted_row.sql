-- Every visit as it is counted: whose it is, where, and what became of it; `visit_row` leads back to the rest.
CREATE OR REPLACE TEMP VIEW counted_row AS
SELECT
    v.visit_id,
    v.rowid AS visit_row,
    v.technician_id,
    v.instrument_id,
    e.branch,
    v.visited_on,
    v.set_aside_because IS NULL AS valid,
    v.like_new,
    coalesce(v.repairs, '') <> '' AS repaired
FROM staging.visit_measured AS v
INNER JOIN equipment_budget AS e ON v.equipment_id = e.equipment_id;
