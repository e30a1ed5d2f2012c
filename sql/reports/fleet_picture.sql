-- Return against supply static, a point a unit and mode in service; at most points of them, drawn by a hash of the id.
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
    count(*) OVER () AS n_all
FROM site_static AS s
INNER JOIN equipment AS e ON s.equipment_id = e.equipment_id
INNER JOIN publication ON e.retired_on IS NULL OR e.retired_on > publication.today
LEFT JOIN site ON s.site_id = site.site_id
WHERE s.return_level_inwc IS NOT NULL AND s.supply_level_inwc IS NOT NULL
ORDER BY md5(s.equipment_id || s.mode)
LIMIT getvariable('points');
