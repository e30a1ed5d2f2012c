-- rule: equipment stands at a known site
-- table: equipment
SELECT e.equipment_id || ' at ' || e.site_id AS what
FROM equipment AS e
ANTI JOIN site AS s ON e.site_id = s.site_id
