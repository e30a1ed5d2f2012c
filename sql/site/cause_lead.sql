-- The three causes of each unit, by how much the largest leads the two others, and the variance between visits of those
-- leads and of one rival's over the other. Where no airflow is known there is nothing to tell apart.
CREATE OR REPLACE TEMP TABLE cause_lead AS
SELECT
    unit_no,
    n,
    airflow_known,
    side,
    return_cause,
    supply_cause,
    airflow_cause,
    CASE
        WHEN NOT airflow_known THEN NULL
        WHEN side = 'return' THEN return_cause - supply_cause
        WHEN side = 'supply' THEN supply_cause - return_cause
        ELSE airflow_cause - return_cause
    END AS margin_1,
    CASE
        WHEN NOT airflow_known THEN NULL
        WHEN side = 'airflow_setting' THEN var_return_airflow
        ELSE var_return_supply
    END AS variance_1,
    CASE
        WHEN NOT airflow_known THEN NULL
        WHEN side = 'return' THEN return_cause - airflow_cause
        WHEN side = 'supply' THEN supply_cause - airflow_cause
        ELSE airflow_cause - supply_cause
    END AS margin_2,
    CASE
        WHEN NOT airflow_known THEN NULL
        WHEN side = 'return' THEN var_return_airflow
        ELSE var_supply_airflow
    END AS variance_2,
    CASE
        WHEN NOT airflow_known THEN NULL
        WHEN side = 'return' THEN var_supply_airflow
        WHEN side = 'supply' THEN var_return_airflow
        ELSE var_return_supply
    END AS variance_rivals
FROM cause_mean;
