-- rule: a visit names a known site, its own equipment and a known technician
-- table: visit
SELECT v.visit_id AS what
FROM visit AS v
LEFT JOIN equipment AS e ON v.equipment_id = e.equipment_id AND v.site_id = e.site_id
LEFT JOIN site AS s ON v.site_id = s.site_id
LEFT JOIN technician AS t ON v.technician_id = t.technician_id
WHERE e.equipment_id IS NULL OR s.site_id IS NULL OR t.technician_id IS NULL
