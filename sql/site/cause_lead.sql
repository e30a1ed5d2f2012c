-- By how much the largest cause of each unit leads the two others, and the variance of those leads between visits.
-- Where no airflow is known there is nothing to tell apart.
CREATE OR REPLACE TEMP TABLE cause_lead AS
SELECT
    unit_no,
    n,
    CASE side
        WHEN 'return' THEN return_cause - supply_cause
        WHEN 'supply' THEN supply_cause - return_cause
        ELSE airflow_cause - return_cause
    END AS margin_1,
    CASE side WHEN 'airflow_setting' THEN var_return_airflow ELSE var_return_supply END AS variance_1,
    CASE side
        WHEN 'return' THEN return_cause - airflow_cause
        WHEN 'supply' THEN supply_cause - airflow_cause
        ELSE airflow_cause - supply_cause
    END AS margin_2,
    CASE side WHEN 'return' THEN var_return_airflow ELSE var_supply_airflow END AS variance_2
FROM cause_mean
WHERE airflow_known;
