-- rule: a finding names a check of the catalog and a loaded visit
-- table: finding
-- scope: equipment
SELECT f.visit_id || ' ' || f.check_id AS what
FROM finding AS f
LEFT JOIN check_catalog AS c ON f.check_id = c.check_id
LEFT JOIN visit AS v ON f.visit_id = v.visit_id
WHERE c.check_id IS NULL OR v.visit_id IS NULL
