-- Roll-ups of the verdicts by branch, equipment kind, motor kind and year of installation: how many units and modes
-- are chronic, with Wilson's interval of the share among those that can be judged, and what they are over together.
CREATE OR REPLACE TABLE branch_static AS
WITH judged AS (
    SELECT
        n.branch,
        s.mode,
        s.static_state,
        s.problem_side,
        s.needs_upkeep,
        s.level_inwc,
        s.expected_excess_inwc,
        s.design_cfm,
        s.airflow_cfm,
        n.site_no,
        n.equipment_kind,
        coalesce(n.motor_kind, 'unknown') AS motor_kind,
        coalesce(year(n.installed_on)::VARCHAR, 'unknown') AS install_year
    FROM staging.unit_verdict AS s
    INNER JOIN equipment_number AS n USING (equipment_no)
    WHERE n.retired_on IS NULL OR n.retired_on > getvariable('today')
)

SELECT
    CASE
        WHEN grouping(branch) = 0 THEN 'branch'
        WHEN grouping(equipment_kind) = 0 THEN 'equipment_kind'
        WHEN grouping(motor_kind) = 0 THEN 'motor_kind'
        WHEN grouping(install_year) = 0 THEN 'install_year'
        WHEN grouping(mode) = 0 THEN 'mode'
        ELSE 'fleet'
    END AS grouping,
    CASE WHEN grouping = 'fleet' THEN 'all' ELSE coalesce(branch, equipment_kind, motor_kind, install_year, mode) END
        AS value,
    -- Different sites: a bit each, which is quicker than counting them apart.
    bit_count(bitstring_agg(site_no, 1, getvariable('n_sites'))) AS n_sites,
    count(*) AS n_rows,
    count(*) FILTER (WHERE static_state <> 'too_few_visits') AS n_judged,
    count(*) FILTER (WHERE static_state = 'chronic') AS n_chronic,
    n_chronic / nullif(n_judged, 0) AS chronic_share,
    wilson_lo(n_chronic, n_judged) AS chronic_lo,
    wilson_hi(n_chronic, n_judged) AS chronic_hi,
    count(*) FILTER (WHERE static_state = 'chronic' AND problem_side = 'return') AS n_return,
    count(*) FILTER (WHERE static_state = 'chronic' AND problem_side = 'supply') AS n_supply,
    count(*) FILTER (WHERE static_state = 'chronic' AND problem_side = 'airflow_setting') AS n_airflow_setting,
    count(*) FILTER (WHERE needs_upkeep) AS n_upkeep,
    median(level_inwc) FILTER (WHERE static_state <> 'too_few_visits') AS median_level_inwc,
    sum(expected_excess_inwc) FILTER (WHERE static_state IN ('chronic', 'uncertain')) AS expected_excess_sum_inwc,
    sum(greatest(design_cfm - airflow_cfm, 0)) FILTER (WHERE static_state = 'chronic') AS airflow_shortfall_cfm
FROM judged
GROUP BY GROUPING SETS ((), (branch), (equipment_kind), (motor_kind), (install_year), (mode))
ORDER BY grouping, value;
