-- rule: an airflow has a source, and no source has an airflow of none
-- table: visit_static
SELECT visit_id AS what
FROM visit_static
WHERE (airflow_source = 'none') <> (airflow_cfm IS NULL)
