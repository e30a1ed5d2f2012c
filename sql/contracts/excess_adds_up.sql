-- rule: the terms of the excess add up to TESP minus the rating
-- table: visit_static
-- In the digits that the largest term leaves to the sum: 99999999, written for an unknown reading, is set aside, but it
-- has terms, too.
SELECT visit_id AS what
FROM visit_static
WHERE
    tesp_inwc IS NOT NULL
    AND coalesce(
        abs(return_restriction_inwc + supply_restriction_inwc + airflow_setting_inwc - (tesp_inwc - rated_tesp_inwc)), 1
    )
    > 1e-9 * greatest(1, abs(return_restriction_inwc), abs(supply_restriction_inwc), abs(airflow_setting_inwc))
