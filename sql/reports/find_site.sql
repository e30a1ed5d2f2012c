-- The compact list behind the search: units in service, the worst first, at most top rows; n_all tells how many there are.
SELECT
    s.site_id,
    site.site_label[:60] AS site_label,
    s.branch,
    s.equipment_id,
    e.equipment_kind,
    s.mode,
    s.static_state,
    s.problem_side,
    round(s.level_inwc, 3) AS level_inwc,
    s.rated_tesp_inwc,
    s.n_visits,
    count(*) OVER () AS n_all
FROM site_static AS s
INNER JOIN equipment AS e ON s.equipment_id = e.equipment_id
INNER JOIN publication ON e.retired_on IS NULL OR e.retired_on > publication.today
LEFT JOIN site ON s.site_id = site.site_id
ORDER BY s.expected_excess_inwc DESC NULLS LAST, s.equipment_id ASC, s.mode ASC
LIMIT getvariable('top');
