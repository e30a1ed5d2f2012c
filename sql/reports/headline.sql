-- The operations page's first answer: chronic units, their sites, the air and power that the static costs. One row.
-- Air and power: of each chronic unit those of the chronic mode that ranks first, as the lists show them, so that two modes
-- are not counted twice; added up in the order of the units, so that the last digits do not depend on which thread came
-- first.
WITH chronic AS (
    SELECT
        site_id,
        equipment_id,
        airflow_shortfall_cfm,
        extra_power_w
    FROM site_priority
    WHERE static_state = 'chronic'
    QUALIFY row_number() OVER (PARTITION BY equipment_id ORDER BY rank) = 1
)

SELECT
    count(DISTINCT site_id) AS n_chronic_sites,
    count(*) AS n_chronic_units,
    (SELECT count(*) FROM site) AS n_sites,
    count(airflow_shortfall_cfm) AS n_units_with_airflow,
    count(*) FILTER (WHERE airflow_shortfall_cfm > 0) AS n_units_losing_air,
    sum(airflow_shortfall_cfm ORDER BY equipment_id) AS airflow_shortfall_cfm,
    median(airflow_shortfall_cfm) FILTER (WHERE airflow_shortfall_cfm > 0) AS median_shortfall_cfm,
    count(*) FILTER (WHERE extra_power_w > 0) AS n_units_with_extra_power,
    sum(extra_power_w ORDER BY equipment_id) FILTER (WHERE extra_power_w > 0) AS extra_power_w
FROM chronic;
