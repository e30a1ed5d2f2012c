-- The three causes of each unit over its level visits (sides known): means, and which is the largest. Visits without an
-- airflow count only where none has one: then all of it is restriction.
CREATE OR REPLACE TEMP TABLE cause_mean AS
WITH mean AS (
    SELECT
        unit_no,
        airflow_ratio IS NOT NULL AS airflow_known,
        count(*) AS n,
        sum(weight * return_restriction_inwc) / sum(weight) AS return_cause,
        sum(weight * supply_restriction_inwc) / sum(weight) AS supply_cause,
        sum(weight * airflow_setting_inwc) / sum(weight) AS airflow_cause,
        var_samp(return_restriction_inwc - supply_restriction_inwc) AS var_return_supply,
        var_samp(return_restriction_inwc - airflow_setting_inwc) AS var_return_airflow,
        var_samp(supply_restriction_inwc - airflow_setting_inwc) AS var_supply_airflow
    FROM level_weight
    WHERE sides_known
    GROUP BY unit_no, airflow_ratio IS NOT NULL
)

SELECT
    *,
    CASE
        WHEN return_cause >= supply_cause AND (return_cause >= airflow_cause OR NOT airflow_known) THEN 'return'
        WHEN supply_cause >= airflow_cause OR NOT airflow_known THEN 'supply'
        ELSE 'airflow_setting'
    END AS side
FROM mean AS m
WHERE airflow_known OR unit_no NOT IN (SELECT k.unit_no FROM mean AS k WHERE k.airflow_known);
