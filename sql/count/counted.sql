-- What is counted of every visit: n_... is 1 or 0, or -1 where a day's drop takes back what was counted (`sign`); the
-- branch of each piece of equipment; and every finding with its visit.
CREATE OR REPLACE TEMP VIEW counted_visit AS
SELECT
    visit_id,
    visited_on,
    technician_id,
    instrument_id,
    equipment_id,
    1 AS sign,
    1 AS n_visits,
    (set_aside_because IS NOT NULL)::INTEGER AS n_set_aside,
    (set_aside_because IS NULL AND NOT like_new)::INTEGER AS n_not_like_new,
    (set_aside_because IS NULL AND like_new AND coalesce(repairs, '') <> '')::INTEGER AS n_repaired,
    (coalesce(repairs, '') <> '')::INTEGER AS n_mended
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
