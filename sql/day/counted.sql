-- What a day's drop changes of what is counted (count/counted.sql): the visits to touched equipment as they are, and, to
-- be taken back, as they were in the last publication, attached as `former`. Checks of scope `fleet` (fleet_check) look at
-- other equipment too: what they find is counted anew of all visits.
CREATE OR REPLACE TEMP TABLE counted_visit AS
SELECT
    v.visit_id,
    v.visited_on,
    v.technician_id,
    v.instrument_id,
    v.equipment_id,
    v.valid,
    v.like_new,
    v.repairs,
    1 AS sign
FROM visit_static AS v
SEMI JOIN touched ON v.equipment_id = touched.equipment_id
UNION ALL
SELECT
    v.visit_id,
    v.visited_on,
    v.technician_id,
    v.instrument_id,
    v.equipment_id,
    v.valid,
    v.like_new,
    v.repairs,
    -1 AS sign
FROM former.visit_static AS v
SEMI JOIN touched ON v.equipment_id = touched.equipment_id;

CREATE OR REPLACE TEMP VIEW counted_unit AS
SELECT
    e.equipment_id,
    1 AS sign,
    site.branch
FROM equipment AS e
LEFT JOIN site ON e.site_id = site.site_id
UNION ALL
SELECT
    e.equipment_id,
    -1 AS sign,
    site.branch
FROM former.equipment AS e
SEMI JOIN touched ON e.equipment_id = touched.equipment_id
LEFT JOIN former.site AS site ON e.site_id = site.site_id;

CREATE OR REPLACE TEMP VIEW counted_finding AS
SELECT
    f.check_id,
    f.consequence,
    v.visited_on,
    v.equipment_id,
    v.sign
FROM finding AS f
INNER JOIN counted_visit AS v ON f.visit_id = v.visit_id
WHERE v.sign = 1 AND f.check_id NOT IN (SELECT fleet_check.check_id FROM fleet_check)
UNION ALL
SELECT
    f.check_id,
    f.consequence,
    v.visited_on,
    v.equipment_id,
    v.sign
FROM former.finding AS f
INNER JOIN counted_visit AS v ON f.visit_id = v.visit_id
WHERE v.sign = -1 AND f.check_id NOT IN (SELECT fleet_check.check_id FROM fleet_check)
UNION ALL
SELECT
    f.check_id,
    f.consequence,
    v.visited_on,
    v.equipment_id,
    1 AS sign
FROM finding AS f
INNER JOIN staging.visit_measured AS v ON f.visit_id = v.visit_id
WHERE f.check_id IN (SELECT fleet_check.check_id FROM fleet_check);
