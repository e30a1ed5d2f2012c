-- One row per loaded visit: the repaired readings, TESP with its uncertainty, airflow, the split of the excess over the
-- rating into return restriction, supply restriction and airflow setting (data contract, section 4) with its
-- uncertainty, and the stretch between works that the visit belongs to. A view, in the publication too where that is
-- large: what is dear is stored in staging.visit_measured, the rest is computed of it where it is asked for. What looks
-- on from there, by the equipment's number and its budgets, asks staging.visit_computed, which has these, too.
-- What is asked for apart (visit_uncertainty, visit_split_uncertainty, visit_segment) is a view of these columns.
CREATE OR REPLACE VIEW staging.visit_computed AS
-- Grouped by its key, so that DuckDB sees that a visit has one at most, and looks nothing up for who asks for none of it.
WITH unit AS (
    SELECT
        equipment_no,
        any_value(site_id) AS site_id,
        any_value(rated_tesp_inwc) AS rated_tesp_inwc,
        any_value(return_budget_inwc) AS return_budget_inwc,
        any_value(supply_budget_inwc) AS supply_budget_inwc,
        any_value(design_cooling_cfm) AS design_cooling_cfm,
        any_value(design_heating_cfm) AS design_heating_cfm,
        any_value(nominal_tons) AS nominal_tons,
        any_value(blower_table_id) AS blower_table_id,
        any_value(density_ratio) AS density_ratio,
        any_value(right_return_port = 'before_filter') AS filter_in_rating,
        any_value(right_supply_port = 'after_coil') AS coil_in_rating
    FROM staging.equipment_facts
    GROUP BY equipment_no
),

known AS (
    SELECT
        m.*,
        u.* EXCLUDE (equipment_no),
        m.supply_inwc - m.return_inwc AS tesp_inwc,
        CASE WHEN m.mode = 'cooling' THEN u.design_cooling_cfm ELSE u.design_heating_cfm END AS design_cfm,
        -- Parts of the measured span, where the drop inside it was measured: together they are the TESP.
        CASE WHEN u.filter_in_rating THEN 0 ELSE m.filter_drop_inwc END AS filter_part_inwc,
        CASE WHEN u.coil_in_rating THEN 0 ELSE m.coil_drop_inwc END AS coil_part_inwc,
        -- Half of what both ports share is each one's.
        m.u_return_accuracy_inwc * m.u_return_accuracy_inwc + m.u_return_zero_inwc * m.u_return_zero_inwc
        + m.u_return_location_inwc * m.u_return_location_inwc + m.u_filter_drop_inwc * m.u_filter_drop_inwc
        + (m.u_resolution_inwc * m.u_resolution_inwc + m.u_probe_inwc * m.u_probe_inwc) / 2 AS return_variance,
        m.u_supply_accuracy_inwc * m.u_supply_accuracy_inwc + m.u_supply_zero_inwc * m.u_supply_zero_inwc
        + m.u_supply_location_inwc * m.u_supply_location_inwc + m.u_coil_drop_inwc * m.u_coil_drop_inwc
        + (m.u_resolution_inwc * m.u_resolution_inwc + m.u_probe_inwc * m.u_probe_inwc) / 2 AS supply_variance,
        m.u_shared_gain_inwc * m.u_shared_gain_inwc / 2 AS port_covariance
    FROM staging.visit_measured AS m
    LEFT JOIN unit AS u ON m.equipment_no = u.equipment_no
),

rated AS (
    SELECT
        *,
        airflow_cfm / nullif(design_cfm, 0) AS airflow_ratio
    FROM known
),

-- a = airflow_ratio^2, unknown where the ratio is not above 0.
squared AS (
    SELECT
        *,
        CASE WHEN airflow_ratio > 0 THEN airflow_ratio * airflow_ratio END AS a
    FROM rated
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
            WHEN airflow_from = 'blower_table'
                THEN
                    2 * airflow_ratio * coalesce(table_slope_cfm_per_inwc, 0) / design_cfm
            ELSE 0
        END AS a_per_inwc,
        CASE WHEN airflow_from = 'measured' THEN 2 * airflow_ratio * u_airflow_cfm / design_cfm ELSE 0 END AS u_a
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
    visit_id,
    site_id,
    equipment_id,
    technician_id,
    instrument_id,
    visited_at,
    visited_on,
    mode::VARCHAR AS mode,
    return_inwc,
    supply_inwc,
    tesp_inwc,
    u_tesp_inwc,
    rated_tesp_inwc,
    prob_over(tesp_inwc, u_tesp_inwc, rated_tesp_inwc) AS prob_over_rated,
    filter_drop_inwc,
    coil_drop_inwc,
    airflow_cfm,
    -- The contract's word for an airflow that the excess is split by.
    CASE WHEN airflow_ratio > 0 THEN airflow_from::VARCHAR ELSE 'none' END AS airflow_source,
    airflow_ratio,
    design_cfm,
    power_w,
    excess_restriction(-return_inwc, return_budget_inwc, airflow_ratio) AS return_restriction_inwc,
    excess_restriction(supply_inwc, supply_budget_inwc, airflow_ratio) AS supply_restriction_inwc,
    excess_airflow(-return_inwc, return_budget_inwc, airflow_ratio)
    + excess_airflow(supply_inwc, supply_budget_inwc, airflow_ratio) AS airflow_setting_inwc,
    set_aside_because IS NULL AS valid,
    like_new,
    sides_known,
    set_aside_because,
    return_recorded,
    supply_recorded,
    pressure_unit::VARCHAR AS pressure_unit,
    reported_tesp,
    repairs,
    tap_used,
    airflow_note,
    airflow_at_least_cfm,
    airflow_at_most_cfm,
    u_airflow_cfm,
    airflow_cfm / nullif(nominal_tons, 0) AS cfm_per_ton,
    power_w / nullif(airflow_cfm, 0) AS w_per_cfm,
    filter_part_inwc,
    -return_inwc - filter_part_inwc AS return_duct_inwc,
    coil_part_inwc,
    supply_inwc - coil_part_inwc AS supply_duct_inwc,
    sqrt(
        return_by_return * return_by_return * return_variance
        + return_by_supply * return_by_supply * supply_variance
        + 2 * return_by_return * return_by_supply * port_covariance
        + return_by_u_a * return_by_u_a
    ) AS u_return_restriction_inwc,
    sqrt(
        supply_by_return * supply_by_return * return_variance
        + supply_by_supply * supply_by_supply * supply_variance
        + 2 * supply_by_return * supply_by_supply * port_covariance
        + supply_by_u_a * supply_by_u_a
    ) AS u_supply_restriction_inwc,
    sqrt(
        setting_by_side * setting_by_side * (return_variance + supply_variance + 2 * port_covariance)
        + (return_by_u_a + supply_by_u_a) * (return_by_u_a + supply_by_u_a)
    ) AS u_airflow_setting_inwc,
    segment,
    on_work_day,
    since_last_work,
    last_work_on,
    u_return_accuracy_inwc,
    u_supply_accuracy_inwc,
    u_shared_gain_inwc,
    u_resolution_inwc,
    u_return_zero_inwc,
    u_supply_zero_inwc,
    u_return_location_inwc,
    u_supply_location_inwc,
    u_probe_inwc,
    u_filter_drop_inwc,
    u_coil_drop_inwc,
    equipment_no,
    return_budget_inwc,
    supply_budget_inwc,
    blower_table_id,
    density_ratio,
    airflow_from,
    power_measured
FROM sensitivity;

CREATE OR REPLACE VIEW visit_static AS
SELECT
    * EXCLUDE (
        equipment_no, return_budget_inwc, supply_budget_inwc, blower_table_id, density_ratio, airflow_from, power_measured
    )
FROM staging.visit_computed;
