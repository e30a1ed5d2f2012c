-- The worklist: every ranked unit and mode in the order of work, with all that a planner needs; top rows.
SELECT
    p.rank,
    p.rank_lo,
    p.rank_hi,
    p.problem_side,
    p.site_id,
    site.site_label,
    p.branch,
    p.equipment_id,
    e.equipment_kind,
    p.mode,
    s.static_state,
    p.level_inwc,
    s.level_lo_inwc,
    s.level_hi_inwc,
    p.rated_tesp_inwc,
    p.expected_excess_inwc,
    s.prob_over_rated,
    s.prob_side,
    s.n_visits,
    s.last_on,
    p.airflow_shortfall_cfm,
    p.extra_power_w,
    p.extra_cost_per_year,
    p.check_first
FROM site_priority AS p
INNER JOIN site_static AS s ON p.equipment_id = s.equipment_id AND p.mode = s.mode
LEFT JOIN equipment AS e ON p.equipment_id = e.equipment_id
LEFT JOIN site ON p.site_id = site.site_id
ORDER BY p.rank
LIMIT getvariable('top');
