-- title: Measured airflow against the blower table
-- consequence: note
-- why: At one tap and static a blower moves one airflow. A measurement far from the table means a wrong tap on record, a wrong table, or a wrong measurement, of airflow or of static.
WITH measured AS (
    SELECT
        visit_id,
        airflow_cfm,
        blower_table_id,
        coalesce(tap, CASE mode WHEN 'cooling' THEN cooling_tap ELSE heating_tap END) AS tap,
        tesp_inwc,
        static_for_table(tesp_inwc, density_ratio) AS static_in_table
    FROM reading
    WHERE airflow_cfm IS NOT NULL
),

segment AS (
    SELECT
        blower_table_id,
        tap,
        external_static_inwc AS static_lo,
        airflow_cfm AS airflow_lo,
        lead(external_static_inwc, 1, external_static_inwc) OVER along AS static_hi,
        lead(airflow_cfm, 1, airflow_cfm) OVER along AS airflow_hi
    FROM blower_table
    WINDOW along AS (PARTITION BY blower_table_id, tap ORDER BY external_static_inwc)
),

compared AS (
    SELECT
        m.visit_id,
        m.airflow_cfm,
        m.tap,
        m.tesp_inwc,
        interpolate(m.static_in_table, t.static_lo, t.airflow_lo, t.static_hi, t.airflow_hi) AS table_cfm
    FROM measured AS m
    ASOF INNER JOIN segment AS t
        ON
            m.blower_table_id = t.blower_table_id
            AND m.tap = t.tap
            AND m.static_in_table >= t.static_lo
    WHERE m.static_in_table <= t.static_hi
)

SELECT
    visit_id,
    'note' AS consequence,
    format(
        'measured {:.0f} cfm; the table gives {:.0f} cfm at tap {} and {:.3f} in. w.c.',
        airflow_cfm, table_cfm, tap, tesp_inwc
    ) AS detail
FROM compared
WHERE exceeds(abs(airflow_cfm / table_cfm - 1), getvariable('airflow_against_table_share'));
