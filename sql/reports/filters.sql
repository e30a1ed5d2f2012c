-- The values of the three filters, from the units that have a level row. At most 60 branches.
WITH branch_names AS (
    SELECT DISTINCT branch
    FROM equipment_static
    ORDER BY branch
    LIMIT 60
),

kinds AS (
    SELECT DISTINCT equipment_kind
    FROM equipment_static
),

modes AS (
    SELECT DISTINCT mode
    FROM site_static
)

SELECT
    (SELECT list(branch_names.branch ORDER BY branch_names.branch) FROM branch_names) AS branches,
    (SELECT list(kinds.equipment_kind ORDER BY kinds.equipment_kind) FROM kinds) AS kinds,
    (SELECT list(modes.mode ORDER BY modes.mode) FROM modes) AS modes;
