-- The ranked units in the order of work, one line a unit over its modes: the mode that ranks first leads, the other
-- stands beside it whatever its state. The first top of each side, and the first top_in_branch of each side in each
-- branch. The worklists ask for all (a large top). rank: of the leading mode, among all units and modes.
WITH listed AS (
    SELECT *
    FROM memory.ranked_line
    WHERE
        line_in_side <= getvariable('top')
        OR (line_in_branch <= getvariable('top_in_branch') AND line_in_side <= 5 * getvariable('top'))
    QUALIFY row_number() OVER (PARTITION BY problem_side ORDER BY rank) <= 2 * getvariable('top')
)

SELECT
    p.rank,
    p.rank_lo,
    p.rank_hi,
    l.line_number,
    p.problem_side,
    l.line_in_side,
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
    p.n_offset_corrected,
    p.return_level_inwc,
    p.supply_level_inwc,
    p.last_on,
    p.airflow_shortfall_cfm,
    p.extra_power_w,
    p.extra_cost_per_year,
    p.check_first,
    p.other_mode,
    l.other_rank,
    p.other_state,
    nullif(p.other_problem_side, 'none') AS other_problem_side,
    p.other_level_inwc,
    p.other_level_lo_inwc,
    p.other_level_hi_inwc,
    p.other_prob_over_rated,
    p.other_n_visits,
    l.n_in_side,
    l.n_chronic_in_side,
    l.n_uncertain_in_side,
    l.n_ranked
FROM listed AS l
INNER JOIN site_priority AS p ON l.rank = p.rank
ORDER BY p.rank;
