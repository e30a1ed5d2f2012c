-- rule: where the airflow is unknown all of the excess is restriction
-- table: visit_static
SELECT visit_id AS what
FROM visit_static
WHERE airflow_ratio IS NULL AND abs(airflow_setting_inwc) > 1e-12
