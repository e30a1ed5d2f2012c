-- The ratings of the fleet picture's units and how many carry each; the commonest first, at most three.
SELECT
    s.rated_tesp_inwc,
    count(*) AS n_units
FROM site_static AS s
INNER JOIN equipment AS e ON s.equipment_id = e.equipment_id
INNER JOIN publication ON e.retired_on IS NULL OR e.retired_on > publication.today
WHERE s.return_level_inwc IS NOT NULL AND s.supply_level_inwc IS NOT NULL
GROUP BY ALL
ORDER BY n_units DESC, s.rated_tesp_inwc ASC
LIMIT 3;
