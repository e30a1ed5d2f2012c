-- rule: an airflow that the excess is split by has a source, any other none
-- table: visit_static
SELECT visit_id AS what
FROM visit_static
WHERE
    (airflow_source = 'none') = coalesce(airflow_ratio > 0, FALSE)
    OR (airflow_ratio > 0 AND airflow_cfm IS NULL)
