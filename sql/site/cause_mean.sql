-- The three causes of each unit over its level visits (sides known): means, and which is the largest. Visits without an
-- airflow count only where none has one: then all of it is restriction.
CREATE OR REPLACE TEMP TABLE cause_mean AS
WITH known AS (
    SELECT unit_no, bool_or(airflow_ratio IS NOT NULL) AS airflow_known
    FROM level_visit
    WHERE sides_known
    GROUP BY unit_no
),

mean AS (
    SELECT
        v.unit_no,
        count(*) AS n,
        any_value(k.airflow_known) AS airflow_known,
        sum(v.weight * v.return_restriction_inwc) / sum(v.weight) AS return_cause,
        sum(v.weight * v.supply_restriction_inwc) / sum(v.weight) AS supply_cause,
        sum(v.weight * v.airflow_setting_inwc) / sum(v.weight) AS airflow_cause,
        var_samp(v.return_restriction_inwc - v.supply_restriction_inwc) AS var_return_supply,
        var_samp(v.return_restriction_inwc - v.airflow_setting_inwc) AS var_return_airflow,
        var_samp(v.supply_restriction_inwc - v.airflow_setting_inwc) AS var_supply_airflow
    FROM level_weight AS v
    INNER JOIN known AS k USING (unit_no)
    WHERE v.sides_known AND (v.airflow_ratio IS NOT NULL OR NOT k.airflow_known)
    GROUP BY v.unit_no
)

SELECT
    *,
    CASE
        WHEN return_cause >= supply_cause AND (return_cause >= airflow_cause OR NOT airflow_known) THEN 'return'
        WHEN supply_cause >= airflow_cause OR NOT airflow_known THEN 'supply'
        ELSE 'airflow_setting'
    END AS side
FROM mean;
