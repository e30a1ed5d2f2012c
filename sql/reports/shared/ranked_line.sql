-- The lines of the ranked list, one a unit: the mode that ranks first leads. As little as makes them. Sides are counted
-- by grouping: counted by windows over a large fleet, where a side has many lines, they took most of the report.
WITH line AS (
    SELECT
        p.rank,
        p.equipment_id,
        p.mode,
        p.problem_side,
        p.branch,
        p.static_state,
        other.rank AS other_rank
    FROM site_priority AS p
    LEFT JOIN site_priority AS other ON p.equipment_id = other.equipment_id AND p.mode <> other.mode
    WHERE other.rank IS NULL OR p.rank < other.rank
),

side AS (
    SELECT
        problem_side,
        count(*) AS n_in_side,
        count(*) FILTER (WHERE static_state = 'chronic') AS n_chronic_in_side
    FROM line
    GROUP BY problem_side
)

SELECT
    l.rank,
    l.equipment_id,
    l.mode,
    l.problem_side,
    l.other_rank,
    side.n_in_side,
    side.n_chronic_in_side,
    side.n_in_side - side.n_chronic_in_side AS n_uncertain_in_side,
    (SELECT count(*) FROM line) AS n_ranked,
    row_number() OVER (ORDER BY l.rank) AS line_number,
    row_number() OVER (PARTITION BY l.problem_side ORDER BY l.rank) AS line_in_side,
    row_number() OVER (PARTITION BY l.problem_side, l.branch ORDER BY l.rank) AS line_in_branch
FROM line AS l
INNER JOIN side ON l.problem_side = side.problem_side
