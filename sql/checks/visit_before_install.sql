-- title: Visit before installation
-- consequence: set_aside
-- why: Equipment cannot be measured before it was installed: a wrong date, or another unit.
-- of: unit
SELECT
    visit_id,
    'set_aside' AS consequence,
    format('visit on {}, installed on {}', visited_on, installed_on) AS detail
FROM noticed_reading
WHERE before_install;
