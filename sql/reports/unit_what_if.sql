-- What to expect of chosen units (units) if one thing is changed: static, airflow and fan power, from the fan table.
SELECT
    equipment_id,
    mode,
    change,
    tesp_inwc,
    tesp_change_inwc,
    airflow_cfm,
    airflow_change_cfm,
    power_w,
    power_change_w
FROM site_what_if
WHERE equipment_id IN (SELECT unnest(getvariable('units')))
ORDER BY
    equipment_id,
    mode,
    list_position(
        ['as_found', 'as_it_is', 'return_to_budget', 'supply_to_budget', 'both_to_budget', 'tap_one_lower'], change
    );
