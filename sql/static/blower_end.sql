-- First and last airflow of each tap's table: the bounds where a static lies outside it.
CREATE OR REPLACE TABLE blower_end AS
SELECT
    blower_table_id,
    tap,
    arg_min(airflow_cfm, external_static_inwc) AS airflow_start,
    arg_max(airflow_cfm, external_static_inwc) AS airflow_end
FROM blower_table
GROUP BY blower_table_id, tap;
