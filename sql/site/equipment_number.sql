-- What the site and work stages ask of each piece of equipment, beside its number (unit.sql).
CREATE OR REPLACE TEMP TABLE equipment_number AS
SELECT
    e.equipment_id,
    n.equipment_no,
    e.site_id,
    s.site_label,
    s.branch,
    e.equipment_kind,
    e.motor_kind,
    e.installed_on,
    e.retired_on,
    e.rated_tesp_inwc,
    e.design_cooling_cfm,
    e.design_heating_cfm
FROM equipment AS e
INNER JOIN staging.equipment_number AS n USING (equipment_id)
INNER JOIN site AS s USING (site_id);
