-- Airflow and fan power of each visit: measured, else read from the blower table at the tap in use, linear between
-- neighbouring points and never beyond the table. Only the look-up uses static / density ratio; its answer is actual
-- cfm. Beyond the table the airflow is bounded, not guessed. The views from `reading` to here and on to
-- visit_uncertainty_part pass all their columns on: one pass over the visits, where joins of stored steps would take five.
CREATE OR REPLACE VIEW visit_airflow AS
WITH asked AS (
    SELECT
        *,
        coalesce(tap, CASE mode WHEN 'cooling' THEN cooling_tap ELSE heating_tap END) AS tap_used,
        static_for_table(tesp_inwc, density_ratio) AS static_in_table,
        CASE mode WHEN 'cooling' THEN design_cooling_cfm ELSE design_heating_cfm END AS design_cfm
    FROM reading
),

placed AS (
    SELECT
        a.*,
        e.curve,
        e.airflow_start,
        e.airflow_end,
        coalesce(a.static_in_table >= e.static_start, FALSE) AS begun,
        table_cell(a.static_in_table, e.static_start, e.static_end, e.cells_per_inwc) AS cell
    FROM asked AS a
    LEFT JOIN blower_end AS e ON a.blower_table_id = e.blower_table_id AND a.tap_used = e.tap
),

matched AS (
    SELECT
        p.*,
        c.static_lo,
        c.static_hi,
        c.airflow_lo,
        c.airflow_hi,
        c.power_lo,
        c.power_hi,
        c.curve IS NOT NULL AS inside_table
    FROM placed AS p
    LEFT JOIN blower_cell AS c
        ON
            p.curve = c.curve
            AND p.cell = c.cell
            AND p.static_in_table >= c.static_lo
            AND p.static_in_table < c.static_below
)

SELECT
    * EXCLUDE (
        airflow_cfm, curve, airflow_start, airflow_end, begun, cell, static_lo, static_hi, airflow_lo, airflow_hi,
        power_lo, power_hi
    ),
    airflow_cfm AS measured_cfm,
    interpolate(static_in_table, static_lo, airflow_lo, static_hi, airflow_hi) AS table_cfm,
    -- A point of the table answers by itself, also where its neighbour has no power.
    CASE
        WHEN static_in_table = static_lo THEN power_lo
        ELSE interpolate(static_in_table, static_lo, power_lo, static_hi, power_hi)
    END AS table_w,
    CASE WHEN static_hi > static_lo THEN (airflow_hi - airflow_lo) / (static_hi - static_lo) / density_ratio END
        AS table_slope_cfm_per_inwc,
    CASE
        WHEN airflow_cfm IS NOT NULL OR inside_table THEN NULL
        WHEN blower_table_id IS NULL THEN 'no blower table named'
        WHEN tap_used IS NULL THEN 'no tap named'
        WHEN begun THEN 'static beyond the table: at most its last airflow'
        WHEN curve IS NULL THEN 'table or tap not found: ' || blower_table_id || ', ' || tap_used
        ELSE 'static below the table: at least its first airflow'
    END AS airflow_note,
    CASE WHEN NOT inside_table AND begun THEN airflow_end END AS airflow_at_most_cfm,
    CASE WHEN NOT inside_table AND NOT begun THEN airflow_start END AS airflow_at_least_cfm
FROM matched;
