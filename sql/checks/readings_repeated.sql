-- title: Readings repeated from another site
-- consequence: note
-- why: The same two readings to the last of three decimals at another site within a day are rarely chance: copied, or not read.
WITH exact AS (
    SELECT visit_id, site_id, technician_id, visited_at, return_static, supply_static, pressure_unit
    FROM reading
    WHERE return_decimals >= getvariable('repeat_decimals') AND supply_decimals >= getvariable('repeat_decimals')
)

SELECT
    a.visit_id,
    'note' AS consequence,
    format(
        'same readings as visit {} at site {}', min_by(b.visit_id, (b.visited_at, b.visit_id)),
        min_by(b.site_id, (b.visited_at, b.visit_id))
    ) AS detail
FROM exact AS a
INNER JOIN exact AS b
    ON a.technician_id = b.technician_id
    AND a.return_static = b.return_static
    AND a.supply_static = b.supply_static
    AND a.pressure_unit = b.pressure_unit
    AND a.site_id <> b.site_id
    AND abs(date_diff('microsecond', a.visited_at, b.visited_at)) <= getvariable('repeat_window_h') * 3600e6
GROUP BY a.visit_id;
