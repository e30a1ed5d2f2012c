-- rule: the order of work holds just the chronic and uncertain rows in service
-- table: site_priority
WITH wanted AS (
    SELECT
        s.equipment_id,
        s.mode
    FROM site_static AS s
    INNER JOIN equipment AS e ON s.equipment_id = e.equipment_id
    WHERE
        s.static_state IN ('chronic', 'uncertain')
        AND (e.retired_on IS NULL OR e.retired_on > getvariable('today'))
)

SELECT coalesce(w.equipment_id, p.equipment_id) || ' ' || coalesce(w.mode, p.mode) AS what
FROM wanted AS w
FULL JOIN site_priority AS p ON w.equipment_id = p.equipment_id AND w.mode = p.mode
WHERE w.equipment_id IS NULL OR p.equipment_id IS NULL
