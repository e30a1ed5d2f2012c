-- One row per loaded visit: the repaired readings, TESP with its uncertainty, airflow, and the split of the excess
-- over the rating into return restriction, supply restriction and airflow setting (data contract, section 4).
CREATE OR REPLACE TABLE visit_static AS
WITH judged AS (
    SELECT
        f.visit_id,
        bool_or(f.consequence = 'set_aside' AND c.applies_to = 'visit') AS is_set_aside,
        bool_or(f.consequence = 'not_like_new') AS is_not_like_new,
        string_agg(f.check_id, ', ' ORDER BY f.check_id)
            FILTER (WHERE f.consequence = 'set_aside' AND c.applies_to = 'visit') AS set_aside_because
    FROM finding AS f
    INNER JOIN check_catalog AS c USING (check_id)
    GROUP BY f.visit_id
),

measured AS (
    SELECT
        r.*,
        b.* EXCLUDE (equipment_id),
        coalesce(r.tap, CASE r.mode WHEN 'cooling' THEN b.cooling_tap ELSE b.heating_tap END) AS tap_used,
        r.tesp_inwc / b.density_ratio AS static_in_table,
        CASE r.mode WHEN 'cooling' THEN b.design_cooling_cfm ELSE b.design_heating_cfm END AS design_cfm
    FROM reading AS r
    INNER JOIN equipment_budget AS b USING (equipment_id)
),

looked_up AS (
    SELECT
        m.*,
        CASE
            WHEN m.static_in_table <= t.static_hi THEN
                interpolate(m.static_in_table, t.static_lo, t.airflow_lo, t.static_hi, t.airflow_hi)
        END AS table_cfm,
        CASE
            WHEN m.static_in_table <= t.static_hi THEN
                interpolate(m.static_in_table, t.static_lo, t.power_lo, t.static_hi, t.power_hi)
        END AS table_w
    FROM measured AS m
    ASOF LEFT JOIN blower_segment AS t
        ON
            m.blower_table_id = t.blower_table_id
            AND m.tap_used = t.tap
            AND m.static_in_table >= t.static_lo
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
    u.u_tesp_inwc,
    l.rated_tesp_inwc,
    prob_over(l.tesp_inwc, u.u_tesp_inwc, l.rated_tesp_inwc) AS prob_over_rated,
    l.filter_drop_inwc,
    l.coil_drop_inwc,
    coalesce(l.airflow_cfm, l.table_cfm) AS airflow_cfm,
    CASE
        WHEN l.airflow_cfm IS NOT NULL THEN 'measured'
        WHEN l.table_cfm IS NOT NULL THEN 'blower_table'
        ELSE 'none'
    END AS airflow_source,
    coalesce(l.airflow_cfm, l.table_cfm) / nullif(l.design_cfm, 0) AS airflow_ratio,
    l.design_cfm,
    coalesce(l.motor_power_w, l.table_w) AS power_w,
    excess_restriction(-l.return_inwc, l.return_budget_inwc, airflow_ratio) AS return_restriction_inwc,
    excess_restriction(l.supply_inwc, l.supply_budget_inwc, airflow_ratio) AS supply_restriction_inwc,
    excess_airflow(-l.return_inwc, l.return_budget_inwc, airflow_ratio)
    + excess_airflow(l.supply_inwc, l.supply_budget_inwc, airflow_ratio) AS airflow_setting_inwc,
    NOT coalesce(j.is_set_aside, FALSE) AS valid,
    NOT coalesce(j.is_set_aside OR j.is_not_like_new, FALSE) AS like_new,
    NOT l.exchanged AS sides_known,
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
    ) AS repairs
FROM looked_up AS l
INNER JOIN visit_uncertainty_part AS u USING (visit_id)
LEFT JOIN judged AS j USING (visit_id);
