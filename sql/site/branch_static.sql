-- Roll-ups of the verdicts by branch, equipment kind, motor kind and year of installation: how many units and modes
-- are chronic, with Wilson's interval of the share among those that can be judged, and what they are over together.
-- Sums are exact, in decimals, and so the same in whatever order they are added up.
CREATE OR REPLACE TABLE branch_static AS
WITH judged AS (
    SELECT
        site_no,
        branch,
        mode,
        static_state,
        problem_side,
        needs_upkeep,
        level_inwc,
        expected_excess_inwc,
        design_cfm,
        airflow_cfm,
        equipment_kind,
        coalesce(motor_kind, 'unknown') AS motor_kind,
        coalesce(year(installed_on)::VARCHAR, 'unknown') AS install_year
    FROM staging.unit_verdict
    WHERE in_service
),

-- Units alike in all of it, first: what adds up is quicker added up twice.
alike AS (
    SELECT
        branch,
        equipment_kind,
        motor_kind,
        install_year,
        mode,
        count(*) AS n_rows,
        count(*) FILTER (WHERE static_state <> 'too_few_visits') AS n_judged,
        count(*) FILTER (WHERE static_state = 'chronic') AS n_chronic,
        count(*) FILTER (WHERE static_state = 'chronic' AND problem_side = 'return') AS n_return,
        count(*) FILTER (WHERE static_state = 'chronic' AND problem_side = 'supply') AS n_supply,
        count(*) FILTER (WHERE static_state = 'chronic' AND problem_side = 'airflow_setting') AS n_airflow_setting,
        count(*) FILTER (WHERE needs_upkeep) AS n_upkeep,
        sum(expected_excess_inwc::DECIMAL(18, 12)) FILTER (WHERE static_state IN ('chronic', 'uncertain')) AS expected_excess_sum_inwc,
        sum(CASE WHEN design_cfm - airflow_cfm IS NOT NULL THEN greatest(design_cfm - airflow_cfm, 0) END::DECIMAL(18, 9))
        FILTER (WHERE static_state = 'chronic') AS airflow_shortfall_cfm
    FROM judged
    GROUP BY branch, equipment_kind, motor_kind, install_year, mode
),

added AS (
    SELECT
        CASE
            WHEN grouping(branch) = 0 THEN 'branch'
            WHEN grouping(equipment_kind) = 0 THEN 'equipment_kind'
            WHEN grouping(motor_kind) = 0 THEN 'motor_kind'
            WHEN grouping(install_year) = 0 THEN 'install_year'
            WHEN grouping(mode) = 0 THEN 'mode'
            ELSE 'fleet'
        END AS grouping,
        coalesce(branch, equipment_kind, motor_kind, install_year, mode, 'all') AS value,
        grouping(branch, equipment_kind, motor_kind, install_year, mode) AS set_no,
        sum(n_rows)::BIGINT AS n_rows,
        sum(n_judged)::BIGINT AS n_judged,
        sum(n_chronic)::BIGINT AS n_chronic,
        sum(n_return)::BIGINT AS n_return,
        sum(n_supply)::BIGINT AS n_supply,
        sum(n_airflow_setting)::BIGINT AS n_airflow_setting,
        sum(n_upkeep)::BIGINT AS n_upkeep,
        sum(expected_excess_sum_inwc)::DOUBLE AS expected_excess_sum_inwc,
        sum(airflow_shortfall_cfm)::DOUBLE AS airflow_shortfall_cfm
    FROM alike
    GROUP BY GROUPING SETS ((), (branch), (equipment_kind), (motor_kind), (install_year), (mode))
),

-- What does not add up. Different sites: a bit each, which is quicker than counting them apart.
apart AS (
    SELECT
        grouping(branch, equipment_kind, motor_kind, install_year, mode) AS set_no,
        coalesce(branch, equipment_kind, motor_kind, install_year, mode, 'all') AS value,
        bit_count(bitstring_agg(j.site_no, 0, getvariable('last_site_no'))) AS n_sites,
        median(j.level_inwc) FILTER (WHERE j.static_state <> 'too_few_visits') AS median_level_inwc
    FROM judged AS j
    GROUP BY GROUPING SETS ((), (branch), (equipment_kind), (motor_kind), (install_year), (mode))
)

SELECT
    s.grouping,
    s.value,
    p.n_sites,
    s.n_rows,
    s.n_judged,
    s.n_chronic,
    s.n_chronic / nullif(s.n_judged, 0) AS chronic_share,
    wilson_lo(s.n_chronic, s.n_judged) AS chronic_lo,
    wilson_hi(s.n_chronic, s.n_judged) AS chronic_hi,
    s.n_return,
    s.n_supply,
    s.n_airflow_setting,
    s.n_upkeep,
    p.median_level_inwc,
    s.expected_excess_sum_inwc,
    s.airflow_shortfall_cfm
FROM added AS s
INNER JOIN apart AS p USING (set_no, value)
ORDER BY s.grouping, s.value;
