-- Units that need upkeep, not ducts: over the rating as found, within it like new. Largest gap first, top rows.
WITH dirty AS (
    SELECT
        v.equipment_id,
        v.mode,
        count(DISTINCT v.visit_id) FILTER (WHERE f.check_id = 'filter_dirty') AS n_filter_dirty,
        count(DISTINCT v.visit_id) FILTER (WHERE f.check_id = 'coil_dirty') AS n_coil_dirty,
        count(DISTINCT v.visit_id) FILTER (WHERE f.check_id = 'blower_dirty') AS n_blower_dirty,
        count(DISTINCT v.visit_id) FILTER (WHERE f.check_id = 'registers_closed') AS n_registers_closed
    FROM finding AS f
    INNER JOIN visit_static AS v ON f.visit_id = v.visit_id
    WHERE v.valid
    GROUP BY ALL
)

SELECT
    s.site_id,
    site.site_label[:200] AS site_label,
    s.branch,
    s.equipment_id,
    e.equipment_kind,
    s.mode,
    s.static_state,
    s.as_found_level_inwc,
    s.level_inwc,
    s.level_lo_inwc,
    s.level_hi_inwc,
    s.rated_tesp_inwc,
    s.as_found_level_inwc - s.rated_tesp_inwc AS as_found_excess_inwc,
    s.prob_over_rated,
    s.n_visits,
    s.last_on,
    coalesce(d.n_filter_dirty, 0) AS n_filter_dirty,
    coalesce(d.n_coil_dirty, 0) AS n_coil_dirty,
    coalesce(d.n_blower_dirty, 0) AS n_blower_dirty,
    coalesce(d.n_registers_closed, 0) AS n_registers_closed,
    count(*) OVER () AS n_upkeep
FROM site_static AS s
INNER JOIN equipment AS e ON s.equipment_id = e.equipment_id
INNER JOIN publication ON e.retired_on IS NULL OR e.retired_on > publication.today
LEFT JOIN site ON s.site_id = site.site_id
LEFT JOIN dirty AS d ON s.equipment_id = d.equipment_id AND s.mode = d.mode
WHERE s.static_state = 'within_rating' AND s.as_found_level_inwc > s.rated_tesp_inwc + 1e-9
ORDER BY as_found_excess_inwc DESC, s.equipment_id ASC, s.mode ASC
LIMIT getvariable('top');
