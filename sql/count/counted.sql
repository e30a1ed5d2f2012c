-- What is counted (visit_count.sql, finding_count.sql, technician_count.sql), over everything: every visit and every finding
-- once. A day's drop counts only what moved, and takes back what was counted of it before (`times` is -1):
-- pipeline/day/counts.py.
CREATE OR REPLACE TEMP VIEW counted_visit AS
SELECT
    v.technician_id,
    v.instrument_id,
    e.branch,
    v.visited_on,
    v.visited_on <= getvariable('today') AS has_been,
    v.set_aside_because IS NULL AS valid,
    v.like_new,
    coalesce(v.repairs, '') <> '' AS repaired,
    1 AS times
FROM staging.visit_measured AS v
INNER JOIN equipment_budget AS e ON v.equipment_id = e.equipment_id;

CREATE OR REPLACE TEMP VIEW counted_finding AS
SELECT
    technician_id,
    check_id,
    consequence,
    branch,
    visited_on,
    visited_on <= getvariable('today') AS has_been,
    1 AS times
FROM technician_finding;
