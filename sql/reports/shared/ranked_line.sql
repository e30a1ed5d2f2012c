-- The lines of the ranked list, one a unit: the mode that ranks first leads. As little as makes them.
SELECT
    p.rank,
    p.equipment_id,
    p.mode,
    p.problem_side,
    other.rank AS other_rank,
    count(*) OVER (PARTITION BY p.problem_side) AS n_in_side,
    count(*) FILTER (WHERE p.static_state = 'chronic') OVER (PARTITION BY p.problem_side) AS n_chronic_in_side,
    n_in_side - n_chronic_in_side AS n_uncertain_in_side,
    count(*) OVER () AS n_ranked,
    row_number() OVER (ORDER BY p.rank) AS line_number,
    row_number() OVER (PARTITION BY p.problem_side ORDER BY p.rank) AS line_in_side,
    row_number() OVER (PARTITION BY p.problem_side, p.branch ORDER BY p.rank) AS line_in_branch
FROM site_priority AS p
LEFT JOIN site_priority AS other ON p.equipment_id = other.equipment_id AND p.mode <> other.mode
WHERE other.rank IS NULL OR p.rank < other.rank;
