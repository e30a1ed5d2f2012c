-- title: Visit after retirement
-- consequence: set_aside
-- why: Equipment cannot be measured after it was retired: a wrong date, or another unit.
SELECT
    r.visit_id,
    'set_aside' AS consequence,
    format('visit on {}, retired on {}', r.visited_on, e.retired_on) AS detail
FROM reading AS r
INNER JOIN equipment AS e ON r.equipment_id = e.equipment_id
WHERE r.after_retirement;
