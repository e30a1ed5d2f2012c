-- Every visit as it is counted: whose it is, where, and what became of it; `visit_row` leads back to the rest.
CREATE OR REPLACE TEMP VIEW counted_row AS
SELECT
    visit_id,
    rowid AS visit_row,
    technician_id,
    instrument_id,
    branch,
    visited_on,
    set_aside_because IS NULL AS valid,
    like_new,
    coalesce(repairs, '') <> '' AS repaired
FROM staging.visit_measured;
