-- Each loaded visit with what the repairs must know of its equipment. The right ports follow the rating
-- (data contract, "The right ports").
CREATE OR REPLACE VIEW reading_row AS
SELECT
    v.*,
    e.installed_on,
    e.retired_on,
    e.rated_tesp_inwc,
    inwc_per(v.pressure_unit) AS row_factor,
    CASE WHEN e.filter_in_rating THEN 'before_filter' ELSE 'after_filter' END AS right_return_port,
    CASE WHEN e.coil_in_rating THEN 'after_coil' ELSE 'before_coil' END AS right_supply_port
FROM visit AS v
INNER JOIN equipment AS e ON v.equipment_id = e.equipment_id;
