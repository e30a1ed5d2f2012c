-- Visit rows that name a site, equipment or technician that is not there, or equipment of another site.
CREATE OR REPLACE TABLE orphan_visits AS
WITH looked_up AS (
    SELECT
        v.row_id,
        v.site_id,
        v.equipment_id,
        v.technician_id,
        s.site_id AS known_site_id,
        e.equipment_id AS known_equipment_id,
        e.site_id AS equipment_site_id,
        t.technician_id AS known_technician_id
    FROM asked_visits AS v
    LEFT JOIN site AS s ON v.site_id = s.site_id
    LEFT JOIN equipment AS e ON v.equipment_id = e.equipment_id
    LEFT JOIN technician AS t ON v.technician_id = t.technician_id
),

orphans AS (
    SELECT
        *,
        CASE
            WHEN known_site_id IS NULL THEN 'site_unknown'
            WHEN known_equipment_id IS NULL THEN 'equipment_unknown'
            WHEN equipment_site_id <> site_id THEN 'equipment_elsewhere'
            WHEN known_technician_id IS NULL THEN 'technician_unknown'
        END AS reason
    FROM looked_up
)

SELECT
    row_id,
    reason,
    CASE reason
        WHEN 'site_unknown' THEN 'site_id holds ' || shown(site_id) || ', expected a site_id of the sites table'
        WHEN 'equipment_unknown'
            THEN 'equipment_id holds ' || shown(equipment_id) || ', expected an equipment_id of the equipment table'
        WHEN 'equipment_elsewhere'
            THEN
                'equipment_id holds ' || shown(equipment_id) || ' with site_id ' || shown(site_id)
                || ', expected the site where it stands, ' || shown(equipment_site_id)
        ELSE 'technician_id holds ' || shown(technician_id) || ', expected a technician_id of the technicians table'
    END AS detail
FROM orphans
WHERE reason IS NOT NULL;
