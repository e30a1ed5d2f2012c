-- The ratings of the fleet picture's units and how many carry each; the commonest first, at most three.
WITH retired AS (
    SELECT equipment.equipment_id
    FROM equipment, publication
    WHERE equipment.retired_on <= publication.today
)

SELECT
    rated_tesp_inwc,
    count(*) AS n_units
FROM site_static
WHERE
    return_level_inwc IS NOT NULL
    AND supply_level_inwc IS NOT NULL
    AND equipment_id NOT IN (SELECT retired.equipment_id FROM retired)
GROUP BY rated_tesp_inwc
ORDER BY n_units DESC, rated_tesp_inwc ASC
LIMIT 3;
