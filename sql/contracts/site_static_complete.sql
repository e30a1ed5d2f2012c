-- rule: every equipment and mode with a visit has its row, and no other
-- table: site_static
-- scope: equipment
SELECT coalesce(v.equipment_id, s.equipment_id) || ' ' || coalesce(v.mode, s.mode) AS what
FROM (SELECT DISTINCT
    equipment_id,
    mode
FROM visit_static) AS v
FULL JOIN site_static AS s ON v.equipment_id = s.equipment_id AND v.mode = s.mode
WHERE v.equipment_id IS NULL OR s.equipment_id IS NULL
