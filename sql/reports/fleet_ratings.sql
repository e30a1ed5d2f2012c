-- The ratings of the fleet picture's units and how many carry each; the commonest first, at most three.
SELECT
    rated_tesp_inwc,
    count(*) AS n_units
FROM site_static
WHERE
    return_level_inwc IS NOT NULL
    AND supply_level_inwc IS NOT NULL
    AND in_service
GROUP BY rated_tesp_inwc
ORDER BY n_units DESC, rated_tesp_inwc ASC
LIMIT 3;
