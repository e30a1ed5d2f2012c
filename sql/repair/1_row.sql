-- Each loaded visit with what is known of its equipment.
CREATE OR REPLACE VIEW reading_row AS
SELECT
    v.*,
    e.* EXCLUDE (equipment_id, site_id, site_no, site_label),
    inwc_per(v.pressure_unit) AS row_factor
FROM visit AS v
INNER JOIN staging.equipment_facts AS e ON v.equipment_id = e.equipment_id;
