-- Every finding with its technician, day and branch, put together once; `visit_row` and `finding_row` lead back to the rest.
CREATE OR REPLACE TEMP TABLE technician_finding AS
SELECT
    v.technician_id,
    f.check_id,
    f.consequence,
    v.branch,
    v.visited_on,
    v.visit_row,
    f.rowid AS finding_row
FROM finding AS f
INNER JOIN counted_row AS v USING (visit_id);
