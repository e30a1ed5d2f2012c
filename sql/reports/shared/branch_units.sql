-- Units with a visit by branch and kind, in service or not, and what is said of either mode of a unit: judged 1, chronic 2, on
-- the return side 4, the supply side 8, by the airflow 16.
WITH units AS (
    SELECT
        equipment_id,
        any_value(branch) AS branch,
        any_value(in_service) AS in_service,
        bit_or(
            CASE
                WHEN static_state = 'too_few_visits' THEN 0
                WHEN static_state <> 'chronic' THEN 1
                WHEN problem_side = 'return' THEN 7
                WHEN problem_side = 'supply' THEN 11
                WHEN problem_side = 'airflow_setting' THEN 19
                ELSE 3
            END
        ) AS said
    FROM site_static
    GROUP BY equipment_id
)

SELECT
    u.branch,
    e.equipment_kind,
    u.in_service,
    u.said,
    count(*) AS n_units
FROM units AS u
INNER JOIN equipment AS e ON u.equipment_id = e.equipment_id
GROUP BY ALL;
