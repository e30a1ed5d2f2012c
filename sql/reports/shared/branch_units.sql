-- Units with a visit by branch and kind, in service or not, and by what is said of either mode of a unit.
WITH units AS (
    SELECT
        equipment_id,
        branch,
        equipment_kind,
        in_service,
        bool_or(static_state <> 'too_few_visits') AS is_judged,
        bool_or(static_state = 'chronic') AS is_chronic,
        bool_or(static_state = 'chronic' AND problem_side = 'return') AS is_return,
        bool_or(static_state = 'chronic' AND problem_side = 'supply') AS is_supply,
        bool_or(static_state = 'chronic' AND problem_side = 'airflow_setting') AS is_airflow_setting
    FROM site_static
    GROUP BY equipment_id, branch, equipment_kind, in_service
)

SELECT
    * EXCLUDE (equipment_id),
    count(*) AS n_units
FROM units
GROUP BY ALL;
