-- Each tap's table as a whole, with a number for it: its first and last points (the bounds where a static lies
-- outside it), and how a static is turned into one of its cells, as many of equal width as it has points.
CREATE OR REPLACE TABLE blower_end AS
SELECT
    blower_table_id,
    tap,
    row_number() OVER (ORDER BY blower_table_id, tap) AS curve,
    min(external_static_inwc) AS static_start,
    max(external_static_inwc) AS static_end,
    arg_min(airflow_cfm, external_static_inwc) AS airflow_start,
    arg_max(airflow_cfm, external_static_inwc) AS airflow_end,
    coalesce(count(*) / nullif(max(external_static_inwc) - min(external_static_inwc), 0), 0) AS cells_per_inwc
FROM blower_table
GROUP BY blower_table_id, tap;
