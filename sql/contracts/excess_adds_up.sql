-- rule: the terms of the excess add up to TESP minus the rating
-- table: visit_static
SELECT visit_id AS what
FROM visit_static
WHERE
    tesp_inwc IS NOT NULL
    AND coalesce(
        abs(return_restriction_inwc + supply_restriction_inwc + airflow_setting_inwc - (tesp_inwc - rated_tesp_inwc)), 1
    ) > 1e-9
