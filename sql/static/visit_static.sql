-- One row per loaded visit: the repaired readings, TESP with its uncertainty, airflow, and the split of the excess
-- over the rating into return restriction, supply restriction and airflow setting (data contract, section 4).
CREATE OR REPLACE TABLE visit_static AS
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
    u.u_tesp_inwc,
    l.rated_tesp_inwc,
    prob_over(l.tesp_inwc, u.u_tesp_inwc, l.rated_tesp_inwc) AS prob_over_rated,
    l.filter_drop_inwc,
    l.coil_drop_inwc,
    coalesce(l.measured_cfm, l.table_cfm) AS airflow_cfm,
    CASE
        WHEN l.measured_cfm IS NOT NULL THEN 'measured'
        WHEN l.table_cfm IS NOT NULL THEN 'blower_table'
        ELSE 'none'
    END AS airflow_source,
    coalesce(l.measured_cfm, l.table_cfm) / nullif(l.design_cfm, 0) AS airflow_ratio,
    l.design_cfm,
    coalesce(l.motor_power_w, l.table_w) AS power_w,
    excess_restriction(-l.return_inwc, l.return_budget_inwc, airflow_ratio) AS return_restriction_inwc,
    excess_restriction(l.supply_inwc, l.supply_budget_inwc, airflow_ratio) AS supply_restriction_inwc,
    excess_airflow(-l.return_inwc, l.return_budget_inwc, airflow_ratio)
    + excess_airflow(l.supply_inwc, l.supply_budget_inwc, airflow_ratio) AS airflow_setting_inwc,
    NOT coalesce(j.is_set_aside, FALSE) AS valid,
    NOT coalesce(j.is_set_aside OR j.is_not_like_new, FALSE) AS like_new,
    l.sign_case <> 'crossed' AS sides_known,
    j.set_aside_because,
    l.return_static AS return_recorded,
    l.supply_static AS supply_recorded,
    l.pressure_unit,
    l.reported_tesp,
    nullif(
        concat_ws(
            '; ',
            CASE
                WHEN l.unit_repaired THEN
                    'unit: read as ' || CASE l.pressure_unit WHEN 'pa' THEN 'in. w.c.' ELSE 'Pa' END
            END,
            CASE WHEN l.sign_repaired AND l.sign_case = 'both_positive' THEN 'sign of the return restored' END,
            CASE WHEN l.sign_repaired AND l.sign_case = 'both_negative' THEN 'sign of the supply restored' END,
            CASE WHEN l.exchanged THEN 'return and supply exchanged' END,
            CASE
                WHEN l.return_port_repaired THEN
                    format('return brought to the right port with the filter drop {:.3f}', l.filter_drop_inwc)
            END,
            CASE
                WHEN l.supply_port_repaired THEN
                    format('supply brought to the right port with the coil drop {:.3f}', l.coil_drop_inwc)
            END
        ), ''
    ) AS repairs,
    l.tap_used,
    l.airflow_note,
    l.airflow_at_least_cfm,
    l.airflow_at_most_cfm,
    -- The table's slope carries the uncertainty of the static over to the airflow; a measured airflow has its own.
    CASE
        WHEN l.measured_cfm IS NOT NULL THEN rectangular(getvariable('measured_airflow_share') * l.measured_cfm)
        ELSE abs(l.table_slope_cfm_per_inwc) * u.u_tesp_inwc
    END AS u_airflow_cfm,
    coalesce(l.measured_cfm, l.table_cfm) / nullif(l.nominal_tons, 0) AS cfm_per_ton,
    coalesce(l.motor_power_w, l.table_w) / nullif(coalesce(l.measured_cfm, l.table_cfm), 0) AS w_per_cfm,
    -- Parts of the measured span, where the drop inside it was measured: together they are the TESP.
    CASE WHEN l.right_return_port = 'after_filter' THEN l.filter_drop_inwc ELSE 0 END AS filter_part_inwc,
    -l.return_inwc - filter_part_inwc AS return_duct_inwc,
    CASE WHEN l.right_supply_port = 'before_coil' THEN l.coil_drop_inwc ELSE 0 END AS coil_part_inwc,
    l.supply_inwc - coil_part_inwc AS supply_duct_inwc
FROM visit_airflow AS l
INNER JOIN visit_uncertainty_part AS u USING (visit_id)
LEFT JOIN visit_judged AS j USING (visit_id);
