-- title: Visit before installation
-- consequence: set_aside
-- why: Equipment cannot be measured before it was installed: a wrong date, or another unit.
SELECT
    r.visit_id,
    'set_aside' AS consequence,
    format('visit on {}, installed on {}', r.visited_on, e.installed_on) AS detail
FROM reading AS r
INNER JOIN equipment AS e ON r.equipment_id = e.equipment_id
WHERE r.before_install;
