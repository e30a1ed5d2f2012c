-- rule: a visit names a known site, its own equipment and a known technician
-- table: visit
SELECT v.visit_id AS what
FROM visit AS v
LEFT JOIN (SELECT equipment_id, site_id FROM equipment SEMI JOIN site USING (site_id)) AS e
    ON v.equipment_id = e.equipment_id
LEFT JOIN technician AS t ON v.technician_id = t.technician_id
WHERE e.equipment_id IS NULL OR v.site_id IS DISTINCT FROM e.site_id OR t.technician_id IS NULL
