-- Of chosen units (units) the mode that ranks behind the other one, with the columns of ranked.sql that a line shows; the
-- mode that ranks first is the other one here.
SELECT
    p.rank,
    p.rank_lo,
    p.rank_hi,
    p.problem_side,
    p.site_id,
    p.site_label[:200] AS site_label,
    p.branch,
    p.equipment_id,
    p.equipment_kind,
    p.mode,
    p.static_state,
    p.level_inwc,
    p.level_lo_inwc,
    p.level_hi_inwc,
    p.rated_tesp_inwc,
    p.expected_excess_inwc,
    p.prob_over_rated,
    p.prob_side,
    p.n_visits,
    p.airflow_shortfall_cfm,
    p.check_first,
    p.other_mode,
    l.rank AS other_rank,
    p.other_state,
    nullif(p.other_problem_side, 'none') AS other_problem_side,
    p.other_level_inwc,
    p.other_level_lo_inwc,
    p.other_level_hi_inwc,
    p.other_n_visits
FROM memory.ranked_line AS l
INNER JOIN site_priority AS p ON l.other_rank = p.rank
WHERE l.equipment_id IN (SELECT unnest(getvariable('units')))
ORDER BY p.rank;
