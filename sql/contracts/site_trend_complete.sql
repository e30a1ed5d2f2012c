-- rule: every row of site_static has a trend, and no other
-- table: site_trend
-- scope: equipment
SELECT coalesce(s.equipment_id, t.equipment_id) || ' ' || coalesce(s.mode, t.mode) AS what
FROM site_static AS s
FULL JOIN site_trend AS t ON s.equipment_id = t.equipment_id AND s.mode = t.mode
WHERE s.equipment_id IS NULL OR t.equipment_id IS NULL
