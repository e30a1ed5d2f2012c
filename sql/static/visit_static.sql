-- One row per loaded visit: the repaired readings, TESP with its uncertainty, airflow, the split of the excess over the
-- rating into return restriction, supply restriction and airflow setting (data contract, section 4) with its
-- uncertainty, and the stretch between works that the visit belongs to. Everything is computed here in one pass;
-- what is asked for apart (visit_uncertainty, visit_split_uncertainty, visit_segment) is a view of these columns.
-- The joins stay as they are written, the small tables looked up for each visit: DuckDB thinks `visit` small, and would
-- build a hash table of all visits to look up the stretches in.
SET disabled_optimizers = 'join_order,build_side_probe_side';

CREATE OR REPLACE TABLE visit_static AS
WITH known AS (
    SELECT
        l.*,
        coalesce(l.measured_cfm, l.table_cfm) AS airflow_cfm,
        coalesce(l.motor_power_w, l.table_w) AS power_w,
        CASE
            WHEN l.measured_cfm IS NOT NULL THEN 'measured'
            WHEN l.table_cfm IS NOT NULL THEN 'blower_table'
            ELSE 'none'
        END AS airflow_source,
        coalesce(l.measured_cfm, l.table_cfm) / nullif(l.design_cfm, 0) AS airflow_ratio,
        -- The table's slope carries the uncertainty of the static over to the airflow; a measured airflow has its own.
        CASE
            WHEN l.measured_cfm IS NOT NULL THEN rectangular(getvariable('measured_airflow_share') * l.measured_cfm)
            ELSE abs(l.table_slope_cfm_per_inwc) * l.u_tesp_inwc
        END AS u_airflow_cfm,
        -- Parts of the measured span, where the drop inside it was measured: together they are the TESP.
        CASE WHEN l.right_return_port = 'after_filter' THEN l.filter_drop_inwc ELSE 0 END AS filter_part_inwc,
        CASE WHEN l.right_supply_port = 'before_coil' THEN l.coil_drop_inwc ELSE 0 END AS coil_part_inwc
    FROM visit_uncertainty_part AS l
),

-- a = airflow_ratio^2, unknown where the ratio is not above 0.
squared AS (
    SELECT
        *,
        CASE WHEN airflow_ratio > 0 THEN airflow_ratio * airflow_ratio END AS a
    FROM known
),

-- How the causes move with what was measured (JCGM 100, 5.1.2): the two statics and, through the blower table, the
-- airflow that follows from them; a measured airflow is an input of its own.
-- restriction = (p / a - b)(a + 1) / 2, airflow = (p / a + b)(a - 1) / 2. `own`: by the side's own static;
-- ..._by_a: by a; a_per_inwc: how a moves with TESP.
slope AS (
    SELECT
        *,
        (a + 1) / (2 * a) AS own,
        -(-return_inwc / (a * a) + return_budget_inwc) / 2 AS return_by_a,
        -(supply_inwc / (a * a) + supply_budget_inwc) / 2 AS supply_by_a,
        CASE
            WHEN airflow_source = 'blower_table'
                THEN
                    2 * airflow_ratio * coalesce(table_slope_cfm_per_inwc, 0) / design_cfm
            ELSE 0
        END AS a_per_inwc,
        CASE WHEN airflow_source = 'measured' THEN 2 * airflow_ratio * u_airflow_cfm / design_cfm ELSE 0 END AS u_a
    FROM squared
),

-- The three causes add up to TESP - rated, so the airflow setting moves by what the others leave.
sensitivity AS (
    SELECT
        *,
        own + return_by_a * a_per_inwc AS return_by_return,
        return_by_a * a_per_inwc AS return_by_supply,
        supply_by_a * a_per_inwc AS supply_by_return,
        own + supply_by_a * a_per_inwc AS supply_by_supply,
        1 - own - (return_by_a + supply_by_a) * a_per_inwc AS setting_by_side,
        return_by_a * u_a AS return_by_u_a,
        supply_by_a * u_a AS supply_by_u_a
    FROM slope
)

SELECT
    l.visit_id,
    l.site_id,
    l.equipment_id,
    l.technician_id,
    l.instrument_id,
    l.visited_at,
    l.visited_on,
    l.mode,
    l.return_inwc,
    l.supply_inwc,
    l.tesp_inwc,
    l.u_tesp_inwc,
    l.rated_tesp_inwc,
    prob_over(l.tesp_inwc, l.u_tesp_inwc, l.rated_tesp_inwc) AS prob_over_rated,
    l.filter_drop_inwc,
    l.coil_drop_inwc,
    l.airflow_cfm,
    l.airflow_source,
    l.airflow_ratio,
    l.design_cfm,
    l.power_w,
    excess_restriction(-l.return_inwc, l.return_budget_inwc, l.airflow_ratio) AS return_restriction_inwc,
    excess_restriction(l.supply_inwc, l.supply_budget_inwc, l.airflow_ratio) AS supply_restriction_inwc,
    excess_airflow(-l.return_inwc, l.return_budget_inwc, l.airflow_ratio)
    + excess_airflow(l.supply_inwc, l.supply_budget_inwc, l.airflow_ratio) AS airflow_setting_inwc,
    NOT coalesce(j.is_set_aside, FALSE) AS valid,
    j.visit_id IS NULL AS like_new,
    l.sign_case <> 'crossed' AS sides_known,
    j.set_aside_because,
    l.return_static AS return_recorded,
    l.supply_static AS supply_recorded,
    l.pressure_unit,
    l.reported_tesp,
    CASE
        WHEN l.unit_repaired OR l.sign_repaired OR l.return_port_repaired OR l.supply_port_repaired
            THEN
                concat_ws(
                    '; ',
                    CASE
                        WHEN l.unit_repaired THEN
                            'unit: read as ' || CASE l.pressure_unit WHEN 'pa' THEN 'in. w.c.' ELSE 'Pa' END
                    END,
                    CASE
                        WHEN l.sign_repaired AND l.sign_case = 'both_positive' THEN 'sign of the return restored'
                    END,
                    CASE
                        WHEN l.sign_repaired AND l.sign_case = 'both_negative' THEN 'sign of the supply restored'
                    END,
                    CASE WHEN l.exchanged THEN 'return and supply exchanged' END,
                    CASE
                        WHEN l.return_port_repaired
                            THEN
                                format(
                                    'return brought to the right port with the filter drop {:.3f}',
                                    l.filter_drop_inwc
                                )
                    END,
                    CASE
                        WHEN l.supply_port_repaired
                            THEN
                                format(
                                    'supply brought to the right port with the coil drop {:.3f}', l.coil_drop_inwc
                                )
                    END
                )
    END AS repairs,
    l.tap_used,
    l.airflow_note,
    l.airflow_at_least_cfm,
    l.airflow_at_most_cfm,
    l.u_airflow_cfm,
    l.airflow_cfm / nullif(l.nominal_tons, 0) AS cfm_per_ton,
    l.power_w / nullif(l.airflow_cfm, 0) AS w_per_cfm,
    l.filter_part_inwc,
    -l.return_inwc - l.filter_part_inwc AS return_duct_inwc,
    l.coil_part_inwc,
    l.supply_inwc - l.coil_part_inwc AS supply_duct_inwc,
    sqrt(
        l.return_by_return * l.return_by_return * l.return_variance
        + l.return_by_supply * l.return_by_supply * l.supply_variance
        + 2 * l.return_by_return * l.return_by_supply * l.port_covariance
        + l.return_by_u_a * l.return_by_u_a
    ) AS u_return_restriction_inwc,
    sqrt(
        l.supply_by_return * l.supply_by_return * l.return_variance
        + l.supply_by_supply * l.supply_by_supply * l.supply_variance
        + 2 * l.supply_by_return * l.supply_by_supply * l.port_covariance
        + l.supply_by_u_a * l.supply_by_u_a
    ) AS u_supply_restriction_inwc,
    sqrt(
        l.setting_by_side * l.setting_by_side * (l.return_variance + l.supply_variance + 2 * l.port_covariance)
        + (l.return_by_u_a + l.supply_by_u_a) * (l.return_by_u_a + l.supply_by_u_a)
    ) AS u_airflow_setting_inwc,
    coalesce(len(list_filter(l.work_days, LAMBDA d: d <= l.visited_on)), 0) AS segment,
    coalesce(list_contains(l.work_days, l.visited_on), FALSE) AS on_work_day,
    coalesce(l.visited_on > l.work_days[-1], TRUE) AS since_last_work,
    l.work_days[-1] AS last_work_on,
    l.u_return_accuracy AS u_return_accuracy_inwc,
    l.u_supply_accuracy AS u_supply_accuracy_inwc,
    sqrt(2 * l.port_covariance) AS u_shared_gain_inwc,
    sqrt(2) * l.u_resolution AS u_resolution_inwc,
    l.u_return_zero AS u_return_zero_inwc,
    l.u_supply_zero AS u_supply_zero_inwc,
    l.u_return_location AS u_return_location_inwc,
    l.u_supply_location AS u_supply_location_inwc,
    sqrt(2) * l.u_probe AS u_probe_inwc,
    l.u_return_port AS u_filter_drop_inwc,
    l.u_supply_port AS u_coil_drop_inwc
FROM sensitivity AS l
LEFT JOIN visit_judged AS j ON l.visit_id = j.visit_id;

RESET disabled_optimizers;
