-- Which units need upkeep rather than ducts: high as found, within the rating like new?
SELECT
    branch,
    site_id,
    equipment_id,
    mode,
    as_found_level_inwc,
    level_inwc,
    rated_tesp_inwc,
    as_found_level_inwc - level_inwc AS upkeep_takes_off_inwc
FROM site_static
WHERE needs_upkeep AND in_service
ORDER BY upkeep_takes_off_inwc DESC, equipment_id, mode
LIMIT 50;
