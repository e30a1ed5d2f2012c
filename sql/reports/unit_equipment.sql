-- The equipment of chosen units (units): what it is, and which ports its rating asks for.
SELECT
    equipment_id,
    equipment_kind,
    installed_on,
    retired_on,
    rated_tesp_inwc,
    nominal_tons,
    motor_kind,
    filter_in_rating,
    coil_in_rating,
    CASE WHEN filter_in_rating THEN 'before_filter' ELSE 'after_filter' END AS return_port,
    CASE WHEN coil_in_rating THEN 'after_coil' ELSE 'before_coil' END AS supply_port
FROM equipment
WHERE equipment_id IN (SELECT unnest(getvariable('units')))
ORDER BY equipment_id;
