-- What to expect of chosen units (units) if one thing is changed: static, airflow and fan power, from the fan table, and
-- the air as a share of the design airflow. air: 'falls' where the change takes air that the house needs (it leaves less
-- than least_airflow_share of the design; or, where the fan is not set too fast, less than now and less than the
-- design), 'stays_low' where the air does not fall and is less than that share all the same, 'not_told' where it falls
-- and the design airflow is not known; else NULL. A change by a hundredth of the air is none: nobody could tell it.
-- The rows of these units before anything is joined: of a large fleet they are few.
WITH tried AS (
    SELECT *
    FROM site_what_if
    WHERE equipment_id IN (SELECT unnest(getvariable('units')))
),

units AS (
    SELECT
        equipment_id,
        mode,
        design_cfm,
        problem_side
    FROM site_static
    WHERE equipment_id IN (SELECT unnest(getvariable('units')))
),

told AS (
    SELECT
        w.equipment_id,
        w.mode,
        w.change,
        w.tesp_inwc,
        w.tesp_change_inwc,
        w.airflow_cfm,
        w.airflow_change_cfm,
        w.power_w,
        w.power_change_w,
        w.airflow_cfm / nullif(s.design_cfm, 0) AS air_of_design_ratio,
        s.problem_side,
        w.change NOT IN ('as_found', 'as_it_is') AS is_change,
        w.airflow_change_cfm < -0.01 * coalesce(s.design_cfm, w.airflow_cfm) AS takes_air,
        w.airflow_cfm < s.design_cfm AS is_below_design,
        w.airflow_cfm < s.design_cfm * share.value AS is_low
    FROM tried AS w
    INNER JOIN units AS s ON w.equipment_id = s.equipment_id AND w.mode = s.mode
    LEFT JOIN setting AS share ON share.name = 'least_airflow_share'
)

SELECT
    * EXCLUDE (problem_side, is_change, takes_air, is_below_design, is_low),
    CASE
        WHEN NOT is_change OR airflow_cfm IS NULL THEN NULL
        WHEN takes_air AND (is_low OR (is_below_design AND problem_side <> 'airflow_setting')) THEN 'falls'
        WHEN NOT takes_air AND is_low THEN 'stays_low'
        WHEN takes_air AND air_of_design_ratio IS NULL THEN 'not_told'
    END AS air
FROM told
ORDER BY
    equipment_id,
    mode,
    list_position(
        ['as_found', 'as_it_is', 'return_to_budget', 'supply_to_budget', 'both_to_budget', 'tap_one_lower'], change
    );
