-- What the crew may expect: TESP, airflow and fan power as it is and after each change, like new. A loaded filter
-- changed (or what else made the as-found level higher) brings a unit from as found to like new.
CREATE OR REPLACE TABLE site_what_if AS
SELECT
    equipment_id,
    mode,
    change,
    tesp_inwc,
    airflow_cfm,
    power_w,
    tap,
    tesp_inwc - first_value(tesp_inwc) OVER from_now AS tesp_change_inwc,
    airflow_cfm - first_value(airflow_cfm) OVER from_now AS airflow_change_cfm,
    power_w - first_value(power_w) OVER from_now AS power_change_w
FROM duct_answer
WINDOW from_now AS (PARTITION BY equipment_id, mode ORDER BY change <> 'as_it_is', change)
UNION ALL
SELECT
    s.equipment_id,
    s.mode,
    'filter_clean',
    s.level_inwc,
    s.airflow_cfm,
    s.power_w,
    NULL,
    s.level_inwc - s.as_found_level_inwc,
    NULL,
    NULL
FROM site_static AS s
WHERE s.as_found_level_inwc - s.level_inwc >= getvariable('upkeep_material_inwc') AND s.n_as_found > s.n_visits
ORDER BY ALL;
