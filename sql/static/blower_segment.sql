-- Blower tables cut into segments between neighbouring points, for a linear look-up that never leaves the table.
-- The last point of a tap is a segment of no length, so that the table's end itself is still inside.
CREATE OR REPLACE TABLE blower_segment AS
SELECT
    blower_table_id,
    tap,
    external_static_inwc AS static_lo,
    coalesce(lead(external_static_inwc) OVER along, external_static_inwc) AS static_hi,
    airflow_cfm AS airflow_lo,
    coalesce(lead(airflow_cfm) OVER along, airflow_cfm) AS airflow_hi,
    power_w AS power_lo,
    lead(power_w, 1, power_w) OVER along AS power_hi
FROM blower_table
WINDOW along AS (PARTITION BY blower_table_id, tap ORDER BY external_static_inwc);
