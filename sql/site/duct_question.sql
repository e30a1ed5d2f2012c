-- What the crew may ask of each unit with a known airflow: the duct curve (K Q^n a side, from the level) as it is, and as
-- it would be after a change, against the blower's curve (blower_end). K in in. w.c. per cfm^n; sides add up. The
-- answer: duct_answer.sql.
CREATE OR REPLACE TEMP TABLE duct_question AS
WITH tap_visits AS (
    SELECT unit_no, tap_used, count(*) AS n
    FROM level_visit
    WHERE tap_used IS NOT NULL
    GROUP BY unit_no, tap_used
),

-- The tap of most visits, of several the first by name.
usual_tap AS (
    SELECT unit_no, arg_min(tap_used, struct_pack(rarer := -n, tap := tap_used)) AS tap
    FROM tap_visits
    GROUP BY unit_no
),

-- Taps from slow to fast: by the airflow that each gives at its smallest static.
tap_order AS (
    SELECT
        *,
        lag(curve) OVER (PARTITION BY blower_table_id ORDER BY airflow_start, tap) AS lower_curve
    FROM blower_end
),

-- Where the level lies in the table (blower_cell.sql).
placed AS (
    SELECT
        s.unit_no,
        o.curve,
        o.lower_curve,
        b.density_ratio,
        static_for_table(s.level_inwc, b.density_ratio) AS static_in_table,
        table_cell(static_in_table, o.static_start, o.static_end, o.cells_per_inwc) AS cell,
        s.level_inwc,
        s.supply_level_inwc,
        s.return_level_inwc,
        s.airflow_cfm,
        s.design_cfm,
        b.return_budget_inwc,
        b.supply_budget_inwc
    FROM usual_tap AS t
    INNER JOIN staging.unit_verdict AS s USING (unit_no)
    INNER JOIN staging.equipment_facts AS b USING (equipment_no)
    LEFT JOIN tap_order AS o ON b.blower_table_id = o.blower_table_id AND t.tap = o.tap
    WHERE s.design_cfm > 0 AND s.return_level_inwc < 0 AND s.supply_level_inwc > 0
),

now AS MATERIALIZED (
    SELECT
        s.unit_no,
        s.curve,
        s.lower_curve,
        s.density_ratio,
        getvariable('duct_exponent') AS n,
        -- The airflow that belongs to the level: from the table at the level itself, else the mean of the visits.
        coalesce(
            interpolate(s.static_in_table, g.static_lo, g.airflow_lo, g.static_hi, g.airflow_hi), s.airflow_cfm
        ) AS airflow_now_cfm,
        -- Both sides are stretched to sum to the level, where visits with unknown sides made them differ from it.
        s.level_inwc / (s.supply_level_inwc - s.return_level_inwc) AS stretch,
        -s.return_level_inwc * stretch / pow(airflow_now_cfm, n) AS k_return,
        s.supply_level_inwc * stretch / pow(airflow_now_cfm, n) AS k_supply,
        s.return_budget_inwc / pow(s.design_cfm, n) AS budget_k_return,
        s.supply_budget_inwc / pow(s.design_cfm, n) AS budget_k_supply
    FROM placed AS s
    LEFT JOIN blower_cell AS g
        ON
            s.curve = g.curve
            AND s.cell = g.cell
            AND s.static_in_table >= g.static_lo
            AND s.static_in_table < g.static_below
    WHERE airflow_now_cfm > 0
)

SELECT unit_no, 'as_it_is' AS change, curve, density_ratio, n, k_return + k_supply AS k
FROM now
UNION ALL
SELECT unit_no, 'return_to_budget', curve, density_ratio, n, budget_k_return + k_supply
FROM now
WHERE k_return > budget_k_return
UNION ALL
SELECT unit_no, 'supply_to_budget', curve, density_ratio, n, k_return + budget_k_supply
FROM now
WHERE k_supply > budget_k_supply
UNION ALL
SELECT unit_no, 'both_to_budget', curve, density_ratio, n, budget_k_return + budget_k_supply
FROM now
WHERE k_return > budget_k_return AND k_supply > budget_k_supply
UNION ALL
SELECT unit_no, 'tap_one_lower', lower_curve, density_ratio, n, k_return + k_supply
FROM now
WHERE lower_curve IS NOT NULL;
