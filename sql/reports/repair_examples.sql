-- The newest top repaired visits: what was recorded, what it was mended to, and why.
WITH newest AS (
    SELECT visit_id
    FROM visit_static
    WHERE repairs <> ''
    ORDER BY visited_on DESC, visit_id ASC
    LIMIT getvariable('top')
)

SELECT
    v.visit_id,
    v.visited_on,
    v.site_id,
    v.return_recorded,
    v.supply_recorded,
    v.pressure_unit,
    v.return_inwc,
    v.supply_inwc,
    v.tesp_inwc,
    v.valid,
    v.repairs[:300] AS repairs,
    (
        SELECT count(*) FROM visit_static
        WHERE repairs <> ''
    ) AS n_repaired
FROM newest
INNER JOIN visit_static AS v ON newest.visit_id = v.visit_id
ORDER BY v.visited_on DESC, v.visit_id ASC;
