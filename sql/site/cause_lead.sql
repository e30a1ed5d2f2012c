-- By how much the largest cause of each equipment and mode leads each of the two others, and the variance of that lead
-- between visits. Where no airflow is known there is nothing to tell apart.
CREATE OR REPLACE TEMP TABLE cause_lead AS
SELECT
    equipment_id,
    mode,
    n,
    unnest([
        CASE side
            WHEN 'return' THEN struct_pack(margin := return_cause - supply_cause, variance := var_return_supply)
            WHEN 'supply' THEN struct_pack(margin := supply_cause - return_cause, variance := var_return_supply)
            ELSE struct_pack(margin := airflow_cause - return_cause, variance := var_return_airflow)
        END,
        CASE side
            WHEN 'return' THEN struct_pack(margin := return_cause - airflow_cause, variance := var_return_airflow)
            WHEN 'supply' THEN struct_pack(margin := supply_cause - airflow_cause, variance := var_supply_airflow)
            ELSE struct_pack(margin := airflow_cause - supply_cause, variance := var_supply_airflow)
        END
    ]) AS rival
FROM cause_mean
WHERE airflow_known;
