-- The ranked units in the order of work, one line a unit over its modes: the mode that ranks first leads, the other
-- stands beside it whatever its state. The first top of each side, and the first top_in_branch of each side in each
-- branch. The worklists ask for all (a large top). rank: of the leading mode, among all units and modes.
WITH lines AS (
    SELECT
        p.rank,
        p.equipment_id,
        p.mode,
        p.problem_side,
        other.rank AS other_rank,
        count(*) OVER (PARTITION BY p.problem_side) AS n_in_side,
        count(*) OVER () AS n_ranked,
        row_number() OVER (ORDER BY p.rank) AS line_number,
        row_number() OVER (PARTITION BY p.problem_side ORDER BY p.rank) AS line_in_side,
        row_number() OVER (PARTITION BY p.problem_side, p.branch ORDER BY p.rank) AS line_in_branch
    FROM site_priority AS p
    LEFT JOIN site_priority AS other ON p.equipment_id = other.equipment_id AND p.mode <> other.mode
    WHERE other.rank IS NULL OR p.rank < other.rank
),

-- Lines first, by as little as makes them; then what they show.
listed AS (
    SELECT *
    FROM lines
    WHERE
        line_in_side <= getvariable('top')
        OR (line_in_branch <= getvariable('top_in_branch') AND line_in_side <= 5 * getvariable('top'))
    QUALIFY row_number() OVER (PARTITION BY problem_side ORDER BY rank) <= 2 * getvariable('top')
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
INNER JOIN site_static AS s ON p.equipment_id = s.equipment_id AND p.mode = s.mode
LEFT JOIN site_static AS o ON p.equipment_id = o.equipment_id AND p.mode <> o.mode
LEFT JOIN equipment AS e ON p.equipment_id = e.equipment_id
LEFT JOIN site ON q.site_id = site.site_id
ORDER BY p.rank;
