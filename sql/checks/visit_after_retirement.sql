-- title: Visit after retirement
-- consequence: set_aside
-- why: Equipment cannot be measured after it was retired: a wrong date, or another unit.
-- of: unit
SELECT
    visit_id,
    'set_aside' AS consequence,
    format('visit on {}, retired on {}', visited_on, retired_on) AS detail
FROM noticed_reading
WHERE after_retirement;
