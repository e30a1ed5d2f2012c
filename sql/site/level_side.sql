-- What else each unit's weighted visits say on average: both sides (where they are known), airflow and fan power.
CREATE OR REPLACE TEMP TABLE level_side AS
SELECT
    unit_no,
    sum(weight * return_inwc) FILTER (WHERE sides_known) / sum(weight) FILTER (WHERE sides_known)
        AS return_level_inwc,
    sum(weight * supply_inwc) FILTER (WHERE sides_known) / sum(weight) FILTER (WHERE sides_known)
        AS supply_level_inwc,
    sum(weight * airflow_ratio) / sum(weight) FILTER (WHERE airflow_ratio IS NOT NULL) AS airflow_ratio,
    sum(weight * airflow_cfm) / sum(weight) FILTER (WHERE airflow_cfm IS NOT NULL) AS airflow_cfm,
    sum(weight * power_w) / sum(weight) FILTER (WHERE power_w IS NOT NULL) AS power_w,
    count(*) FILTER (WHERE offset_corrected) AS n_offset_corrected
FROM level_weight
GROUP BY unit_no;
