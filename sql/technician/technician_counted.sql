-- What is counted of technicians (technician_count.sql), over everything: every visit and every finding once. A day's drop
-- counts only what moved, and takes back what was counted of it before (`times` is -1): pipeline/day/technician_counts.py.
CREATE OR REPLACE TEMP VIEW counted_of_visit AS
SELECT technician_id, visited_on, visited_on <= getvariable('today') AS has_been, 1 AS times
FROM staging.visit_measured;

CREATE OR REPLACE TEMP VIEW counted_of_finding AS
SELECT technician_id, check_id, visited_on, visited_on <= getvariable('today') AS has_been, 1 AS times
FROM technician_finding;
