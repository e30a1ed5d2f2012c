-- The series of the restriction trend: what the ducts would take at the design airflow. A fan set to another tap moves
-- the TESP and not this; a duct that clogs or is opened moves both.
CREATE OR REPLACE TEMP VIEW trend_series AS
SELECT
    equipment_id,
    mode,
    visited_on,
    at_year,
    tesp_inwc / pow(airflow_ratio, getvariable('duct_exponent')) AS value
FROM level_visit
WHERE airflow_ratio > 0;
