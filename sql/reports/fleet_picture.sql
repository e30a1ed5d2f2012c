-- Return against supply static, a point a unit and mode in service; at most points of them: chronic
-- ones first, the others drawn by a hash of the id.
WITH drawn AS (
    SELECT *
    FROM site_static
    WHERE
        return_level_inwc IS NOT NULL
        AND supply_level_inwc IS NOT NULL
        AND in_service
    ORDER BY static_state = 'chronic' DESC, hash(equipment_id, mode)
    LIMIT getvariable('points')
)

SELECT
    s.site_id,
    site.site_label[:60] AS site_label,
    s.branch,
    s.equipment_id,
    s.equipment_kind,
    s.mode,
    s.static_state,
    round(s.return_level_inwc, 4) AS return_level_inwc,
    round(s.supply_level_inwc, 4) AS supply_level_inwc,
    round(s.level_inwc, 4) AS level_inwc,
    s.rated_tesp_inwc,
    CASE
        WHEN s.static_state = 'chronic' THEN s.problem_side
        WHEN s.needs_upkeep THEN 'upkeep'
        ELSE 'none'
    END AS shown_as,
    -- Counted apart: a list of all of them for both would hold all their columns.
    (
        SELECT count(*)
        FROM site_static
        WHERE
            site_static.return_level_inwc IS NOT NULL
            AND site_static.supply_level_inwc IS NOT NULL
            AND site_static.in_service
    ) AS n_all
FROM drawn AS s
LEFT JOIN site ON s.site_id = site.site_id
ORDER BY s.static_state = 'chronic' DESC, hash(s.equipment_id, s.mode);
