-- Every finding with its technician, day and branch, put together once; `visit_row` and `finding_row` lead back to the rest.
CREATE OR REPLACE TEMP TABLE technician_finding AS
SELECT
    v.technician_id,
    f.check_id,
    f.consequence,
    e.branch,
    v.visited_on,
    v.rowid AS visit_row,
    f.rowid AS finding_row
FROM finding AS f
INNER JOIN staging.visit_measured AS v USING (visit_id)
INNER JOIN equipment_budget AS e ON v.equipment_id = e.equipment_id;
