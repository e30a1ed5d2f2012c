-- The three causes of each equipment and mode over its level visits (sides known): means, and which is the largest.
-- Where no airflow is known all of it is restriction.
CREATE OR REPLACE TEMP TABLE cause_mean AS
WITH visit AS (
    SELECT
        *,
        airflow_ratio IS NOT NULL AS airflow_known,
        bool_or(airflow_ratio IS NOT NULL) OVER (PARTITION BY equipment_id, mode) AS any_airflow_known
    FROM level_weight
    WHERE sides_known
),

mean AS (
    SELECT
        equipment_id,
        mode,
        count(*) AS n,
        bool_and(airflow_known) AS airflow_known,
        sum(weight * return_restriction_inwc) / sum(weight) AS return_cause,
        sum(weight * supply_restriction_inwc) / sum(weight) AS supply_cause,
        sum(weight * airflow_setting_inwc) / sum(weight) AS airflow_cause,
        var_samp(return_restriction_inwc - supply_restriction_inwc) AS var_return_supply,
        var_samp(return_restriction_inwc - airflow_setting_inwc) AS var_return_airflow,
        var_samp(supply_restriction_inwc - airflow_setting_inwc) AS var_supply_airflow
    FROM visit
    WHERE airflow_known OR NOT any_airflow_known
    GROUP BY equipment_id, mode
)

SELECT
    *,
    CASE
        WHEN return_cause >= supply_cause AND (return_cause >= airflow_cause OR NOT airflow_known) THEN 'return'
        WHEN supply_cause >= airflow_cause OR NOT airflow_known THEN 'supply'
        ELSE 'airflow_setting'
    END AS side
FROM mean;
