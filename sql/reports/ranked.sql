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
),

-- What is said of either mode of the listed units.
modes AS MATERIALIZED (
    SELECT
        equipment_id,
        mode,
        static_state,
        problem_side,
        level_inwc,
        level_lo_inwc,
        level_hi_inwc,
        prob_over_rated,
        prob_side,
        n_visits,
        n_offset_corrected,
        return_level_inwc,
        supply_level_inwc,
        last_on
    FROM site_static
    WHERE equipment_id IN (SELECT listed.equipment_id FROM listed)
)

SELECT
    p.rank,
    q.rank_lo,
    q.rank_hi,
    p.line_number,
    p.problem_side,
    p.line_in_side,
    q.site_id,
    site.site_label[:200] AS site_label,
    q.branch,
    p.equipment_id,
    e.equipment_kind,
    p.mode,
    s.static_state,
    q.level_inwc,
    s.level_lo_inwc,
    s.level_hi_inwc,
    q.rated_tesp_inwc,
    q.expected_excess_inwc,
    s.prob_over_rated,
    s.prob_side,
    s.n_visits,
    s.n_offset_corrected,
    s.return_level_inwc,
    s.supply_level_inwc,
    s.last_on,
    q.airflow_shortfall_cfm,
    q.extra_power_w,
    q.extra_cost_per_year,
    q.check_first,
    o.mode AS other_mode,
    p.other_rank,
    o.static_state AS other_state,
    nullif(o.problem_side, 'none') AS other_problem_side,
    o.level_inwc AS other_level_inwc,
    o.level_lo_inwc AS other_level_lo_inwc,
    o.level_hi_inwc AS other_level_hi_inwc,
    o.prob_over_rated AS other_prob_over_rated,
    o.n_visits AS other_n_visits,
    p.n_in_side,
    p.n_ranked
FROM listed AS p
INNER JOIN site_priority AS q ON p.equipment_id = q.equipment_id AND p.mode = q.mode
INNER JOIN modes AS s ON p.equipment_id = s.equipment_id AND p.mode = s.mode
LEFT JOIN modes AS o ON p.equipment_id = o.equipment_id AND p.mode <> o.mode
LEFT JOIN equipment AS e ON p.equipment_id = e.equipment_id
LEFT JOIN site ON q.site_id = site.site_id
ORDER BY p.rank;
