-- The compact list behind the search: units in service, the worst first, at most top rows; n_all tells how many there are.
WITH worst AS (
    SELECT *
    FROM site_static
    WHERE in_service
    ORDER BY expected_excess_inwc DESC NULLS LAST, equipment_id ASC, mode ASC
    LIMIT getvariable('top')
)

SELECT
    s.site_id,
    site.site_label[:60] AS site_label,
    s.branch,
    s.equipment_id,
    s.equipment_kind,
    s.mode,
    s.static_state,
    s.problem_side,
    s.level_inwc,
    s.rated_tesp_inwc,
    s.n_visits,
    (SELECT count(*) FROM site_static WHERE site_static.in_service) AS n_all
FROM worst AS s
LEFT JOIN site ON s.site_id = site.site_id
ORDER BY s.expected_excess_inwc DESC NULLS LAST, s.equipment_id ASC, s.mode ASC;
