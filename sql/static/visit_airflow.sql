-- Airflow and fan power of each visit: measured, else read from the blower table at the tap in use, linear between
-- neighbouring points and never beyond the table. Only the look-up uses static / density ratio; its answer is actual
-- cfm. Beyond the table the airflow is bounded, not guessed.
CREATE OR REPLACE VIEW visit_airflow AS
WITH asked AS (
    SELECT
        r.*,
        b.* EXCLUDE (equipment_id),
        coalesce(r.tap, CASE r.mode WHEN 'cooling' THEN b.cooling_tap ELSE b.heating_tap END) AS tap_used,
        r.tesp_inwc / b.density_ratio AS static_in_table,
        CASE r.mode WHEN 'cooling' THEN b.design_cooling_cfm ELSE b.design_heating_cfm END AS design_cfm
    FROM reading AS r
    INNER JOIN equipment_budget AS b USING (equipment_id)
),

matched AS (
    SELECT
        a.*,
        t.static_lo,
        t.static_hi,
        t.airflow_lo,
        t.airflow_hi,
        t.power_lo,
        t.power_hi,
        coalesce(a.static_in_table <= t.static_hi, FALSE) AS inside_table
    FROM asked AS a
    ASOF LEFT JOIN blower_segment AS t
        ON
            a.blower_table_id = t.blower_table_id
            AND a.tap_used = t.tap
            AND a.static_in_table >= t.static_lo
)

SELECT
    m.* EXCLUDE (airflow_cfm, static_lo, static_hi, airflow_lo, airflow_hi, power_lo, power_hi),
    m.airflow_cfm AS measured_cfm,
    CASE
        WHEN m.inside_table THEN
            interpolate(m.static_in_table, m.static_lo, m.airflow_lo, m.static_hi, m.airflow_hi)
    END AS table_cfm,
    -- A point of the table answers by itself, also where its neighbour has no power.
    CASE
        WHEN m.inside_table AND m.static_in_table = m.static_lo THEN m.power_lo
        WHEN m.inside_table THEN
            interpolate(m.static_in_table, m.static_lo, m.power_lo, m.static_hi, m.power_hi)
    END AS table_w,
    CASE
        WHEN m.inside_table AND m.static_hi > m.static_lo THEN
            (m.airflow_hi - m.airflow_lo) / (m.static_hi - m.static_lo) / m.density_ratio
    END AS table_slope_cfm_per_inwc,
    CASE
        WHEN m.airflow_cfm IS NOT NULL OR m.inside_table THEN NULL
        WHEN m.blower_table_id IS NULL THEN 'no blower table named'
        WHEN m.tap_used IS NULL THEN 'no tap named'
        WHEN m.static_lo IS NOT NULL THEN 'static beyond the table: at most its last airflow'
        WHEN e.tap IS NULL THEN 'table or tap not found: ' || m.blower_table_id || ', ' || m.tap_used
        ELSE 'static below the table: at least its first airflow'
    END AS airflow_note,
    CASE WHEN NOT m.inside_table AND m.static_lo IS NOT NULL THEN e.airflow_end END AS airflow_at_most_cfm,
    CASE WHEN NOT m.inside_table AND m.static_lo IS NULL THEN e.airflow_start END AS airflow_at_least_cfm
FROM matched AS m
LEFT JOIN blower_end AS e ON m.blower_table_id = e.blower_table_id AND m.tap_used = e.tap;
