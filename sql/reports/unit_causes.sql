-- The excess split of chosen units (units): the means over the visits whose sides are known that decide problem_side.
SELECT
    equipment_id,
    mode,
    n_valid,
    return_restriction_inwc,
    supply_restriction_inwc,
    airflow_setting_inwc,
    return_restriction_inwc + supply_restriction_inwc + coalesce(airflow_setting_inwc, 0) AS excess_inwc
FROM site_static
WHERE equipment_id IN (SELECT unnest(getvariable('units')))
ORDER BY equipment_id, mode;
