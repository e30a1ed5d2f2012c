-- Return against supply static, a point a unit and mode in service; at most points of them, drawn by a hash of the id.
-- Drawn by their names alone; what else is shown is looked up for the few that are drawn.
WITH shown AS MATERIALIZED (
    SELECT
        equipment_id,
        mode
    FROM site_static
    WHERE
        return_level_inwc IS NOT NULL
        AND supply_level_inwc IS NOT NULL
        AND in_service
),

drawn AS (
    SELECT
        equipment_id,
        mode
    FROM shown
    ORDER BY hash(equipment_id, mode)
    LIMIT getvariable('points')
)

SELECT
    s.site_id,
    site.site_label[:60] AS site_label,
    s.branch,
    s.equipment_id,
    e.equipment_kind,
    s.mode,
    s.static_state,
    round(s.return_level_inwc, 4) AS return_level_inwc,
    round(s.supply_level_inwc, 4) AS supply_level_inwc,
    round(s.level_inwc, 4) AS level_inwc,
    s.rated_tesp_inwc,
    CASE
        WHEN s.static_state = 'chronic' THEN s.problem_side
        WHEN s.static_state = 'within_rating' AND s.as_found_level_inwc > s.rated_tesp_inwc + 1e-9 THEN 'upkeep'
        ELSE 'none'
    END AS shown_as,
    (SELECT count(*) FROM shown) AS n_all
FROM drawn
INNER JOIN site_static AS s ON drawn.equipment_id = s.equipment_id AND drawn.mode = s.mode
INNER JOIN equipment AS e ON drawn.equipment_id = e.equipment_id
LEFT JOIN site ON s.site_id = site.site_id
ORDER BY hash(s.equipment_id, s.mode);
