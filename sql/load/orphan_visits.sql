-- Visit rows that name a site, equipment or technician that is not there, or equipment of another site.
-- Equipment that is there stands at a known site: sites are looked up only for the few rows that its own site does not fit.
CREATE OR REPLACE TABLE orphan_visits AS
WITH misfit AS (
    SELECT
        v.row_id,
        v.site_id,
        v.equipment_id,
        v.technician_id,
        e.site_id AS equipment_site_id
    FROM asked_visits AS v
    LEFT JOIN equipment AS e ON v.equipment_id = e.equipment_id
    LEFT JOIN technician AS t ON v.technician_id = t.technician_id
    WHERE e.site_id IS DISTINCT FROM v.site_id OR t.technician_id IS NULL
),

orphans AS (
    SELECT
        m.*,
        CASE
            WHEN s.site_id IS NULL THEN 'site_unknown'
            WHEN m.equipment_site_id IS NULL THEN 'equipment_unknown'
            WHEN m.equipment_site_id <> m.site_id THEN 'equipment_elsewhere'
            ELSE 'technician_unknown'
        END AS reason
    FROM misfit AS m
    LEFT JOIN site AS s ON m.site_id = s.site_id
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
FROM orphans;
