-- The ranked units and modes in the order of work, with all that a page or a planner needs: the first top of each side,
-- and the first top_in_branch of each side in each branch. The worklists ask for all (a large top).
WITH ranked AS (
    SELECT
        p.rank,
        p.rank_lo,
        p.rank_hi,
        p.problem_side,
        p.rank_in_side,
        p.site_id,
        site.site_label[:200] AS site_label,
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
        s.n_offset_corrected,
        s.return_level_inwc,
        s.supply_level_inwc,
        s.last_on,
        p.airflow_shortfall_cfm,
        p.extra_power_w,
        p.extra_cost_per_year,
        p.check_first,
        count(*) OVER (PARTITION BY p.problem_side) AS n_in_side,
        row_number() OVER (PARTITION BY p.problem_side, p.branch ORDER BY p.rank) AS rank_in_branch
    FROM site_priority AS p
    INNER JOIN site_static AS s ON p.equipment_id = s.equipment_id AND p.mode = s.mode
    LEFT JOIN equipment AS e ON p.equipment_id = e.equipment_id
    LEFT JOIN site ON p.site_id = site.site_id
)

SELECT * EXCLUDE (rank_in_branch)
FROM ranked
WHERE rank_in_side <= getvariable('top') OR (rank_in_branch <= getvariable('top_in_branch') AND rank_in_side <= 5 * getvariable('top'))
QUALIFY row_number() OVER (PARTITION BY problem_side ORDER BY rank) <= 2 * getvariable('top')
ORDER BY rank;
