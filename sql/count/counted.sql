-- What is counted (visit_count.sql, finding_count.sql): every visit, the branch of each piece of equipment, and every finding
-- with its visit. `sign` is -1 where a day's drop takes back what was counted (day/counted.sql).
CREATE OR REPLACE TEMP VIEW counted_visit AS
SELECT
    visit_id,
    visited_on,
    technician_id,
    instrument_id,
    equipment_id,
    set_aside_because IS NULL AS valid,
    like_new,
    coalesce(repairs, '') AS repairs,
    1 AS sign
FROM staging.visit_measured;

CREATE OR REPLACE TEMP VIEW counted_unit AS
SELECT
    e.equipment_id,
    1 AS sign,
    site.branch
FROM equipment AS e
LEFT JOIN site ON e.site_id = site.site_id;

CREATE OR REPLACE TEMP VIEW counted_finding AS
SELECT
    f.check_id,
    f.consequence,
    v.visited_on,
    v.equipment_id,
    1 AS sign
FROM finding AS f
INNER JOIN staging.visit_measured AS v ON f.visit_id = v.visit_id;
