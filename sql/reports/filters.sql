-- The values of the three filters, from the units that have a level row. At most 60 branches.
WITH branch_names AS (
    SELECT DISTINCT branch
    FROM site_static
    ORDER BY branch
    LIMIT 60
)

SELECT
    (SELECT list(branch_names.branch ORDER BY branch_names.branch) FROM branch_names) AS branches,
    list(DISTINCT e.equipment_kind ORDER BY e.equipment_kind) AS kinds,
    list(DISTINCT s.mode ORDER BY s.mode) AS modes
FROM site_static AS s
INNER JOIN equipment AS e ON s.equipment_id = e.equipment_id;
