-- What the crew may ask of each unit and mode with a known airflow: the duct curve (K Q^n a side, from the level) as
-- it is, and as it would be after a change. K in in. w.c. per cfm^n; sides add up. The answer: duct_answer.sql.
CREATE OR REPLACE TEMP TABLE duct_question AS
WITH usual_tap AS (
    SELECT v.equipment_id, v.mode, mode(v.tap_used ORDER BY v.tap_used) AS tap
    FROM visit_static AS v
    INNER JOIN level_visit AS l USING (visit_id)
    GROUP BY v.equipment_id, v.mode
),

-- Taps from slow to fast: by the airflow that each gives at its smallest static.
tap_order AS (
    SELECT
        blower_table_id,
        tap,
        lag(tap) OVER (PARTITION BY blower_table_id ORDER BY airflow_start, tap) AS lower_tap
    FROM blower_end
),

-- The airflow that belongs to the level: from the table at the level itself, else the mean of the visits.
at_level AS (
    SELECT
        s.equipment_id,
        s.mode,
        coalesce(
            CASE
                WHEN s.level_inwc / b.density_ratio <= g.static_hi THEN
                    interpolate(s.level_inwc / b.density_ratio, g.static_lo, g.airflow_lo, g.static_hi, g.airflow_hi)
            END, s.airflow_cfm
        ) AS airflow_cfm
    FROM site_static AS s
    INNER JOIN equipment_budget AS b USING (equipment_id)
    INNER JOIN usual_tap AS t ON s.equipment_id = t.equipment_id AND s.mode = t.mode
    ASOF LEFT JOIN blower_segment AS g
        ON
            b.blower_table_id = g.blower_table_id
            AND t.tap = g.tap
            AND s.level_inwc / b.density_ratio >= g.static_lo
),

now AS (
    SELECT
        s.equipment_id,
        s.mode,
        b.blower_table_id,
        t.tap,
        o.lower_tap,
        b.density_ratio,
        getvariable('duct_exponent') AS n,
        -- Both sides are stretched to sum to the level, where visits with unknown sides made them differ from it.
        s.level_inwc / (s.supply_level_inwc - s.return_level_inwc) AS stretch,
        -s.return_level_inwc * stretch / pow(a.airflow_cfm, n) AS k_return,
        s.supply_level_inwc * stretch / pow(a.airflow_cfm, n) AS k_supply,
        b.return_budget_inwc / pow(s.design_cfm, n) AS budget_k_return,
        b.supply_budget_inwc / pow(s.design_cfm, n) AS budget_k_supply
    FROM site_static AS s
    INNER JOIN equipment_budget AS b USING (equipment_id)
    INNER JOIN usual_tap AS t ON s.equipment_id = t.equipment_id AND s.mode = t.mode
    INNER JOIN at_level AS a ON s.equipment_id = a.equipment_id AND s.mode = a.mode
    LEFT JOIN tap_order AS o ON b.blower_table_id = o.blower_table_id AND t.tap = o.tap
    WHERE a.airflow_cfm > 0 AND s.design_cfm > 0 AND s.return_level_inwc < 0 AND s.supply_level_inwc > 0
)

SELECT equipment_id, mode, 'as_it_is' AS change, blower_table_id, tap, density_ratio, n, k_return + k_supply AS k
FROM now
UNION ALL
SELECT equipment_id, mode, 'return_to_budget', blower_table_id, tap, density_ratio, n, budget_k_return + k_supply
FROM now
WHERE k_return > budget_k_return
UNION ALL
SELECT equipment_id, mode, 'supply_to_budget', blower_table_id, tap, density_ratio, n, k_return + budget_k_supply
FROM now
WHERE k_supply > budget_k_supply
UNION ALL
SELECT equipment_id, mode, 'both_to_budget', blower_table_id, tap, density_ratio, n, budget_k_return + budget_k_supply
FROM now
WHERE k_return > budget_k_return AND k_supply > budget_k_supply
UNION ALL
SELECT equipment_id, mode, 'tap_one_lower', blower_table_id, lower_tap, density_ratio, n, k_return + k_supply
FROM now
WHERE lower_tap IS NOT NULL;
