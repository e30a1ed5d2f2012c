-- What is counted (visit_count.sql, finding_count.sql, technician_count.sql), over everything: every visit and every finding
-- once. A day's drop counts only what moved, and takes back what was counted of it before (`times` is -1):
-- pipeline/day/counts.py.
CREATE OR REPLACE TEMP VIEW counted_visit AS
SELECT
    * EXCLUDE (visit_id, visit_row),
    visited_on <= getvariable('today') AS has_been,
    1 AS times
FROM counted_row;

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
