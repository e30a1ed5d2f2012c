-- title: Readings repeated from another site
-- consequence: note
-- scope: fleet
-- piece: epoch_us(visited_at) // (greatest(getvariable('repeat_window_h'), 1) * 3600e6)::BIGINT
-- beside: 1
-- why: The same two readings to the last of three decimals at another site within a day are rarely chance: copied, or not read.
WITH pair AS (
    SELECT hash(technician_id, return_static, supply_static) AS pair_hash
    FROM visit
    GROUP BY pair_hash
    HAVING count(*) > 1
),

-- Few pairs occur twice: found by their hash, so that only those are looked at in full.
twice AS (
    SELECT
        visit_id,
        site_id,
        technician_id,
        return_static,
        supply_static,
        return_decimals,
        supply_decimals,
        pressure_unit,
        epoch_us(visited_at) AS visited_us,
        (getvariable('repeat_window_h') * 3600e6)::BIGINT AS window_us
    FROM visit
    WHERE
        return_decimals >= getvariable('repeat_decimals')
        AND supply_decimals >= getvariable('repeat_decimals')
        AND hash(technician_id, return_static, supply_static) IN (SELECT pair_hash FROM pair)
),

-- Of all visits within the time on either side, the first and the last by site: one of them is elsewhere, if any is.
around AS (
    SELECT
        visit_id,
        site_id,
        min({ 'site': site_id, 'visit': visit_id }) OVER near_in_time AS first_there,
        max({ 'site': site_id, 'visit': visit_id }) OVER near_in_time AS last_there
    FROM twice
    WINDOW near_in_time AS (
        PARTITION BY technician_id, return_static, supply_static, return_decimals, supply_decimals, pressure_unit
        ORDER BY visited_us
        RANGE BETWEEN window_us PRECEDING AND window_us FOLLOWING
    )
)

SELECT
    visit_id,
    'note' AS consequence,
    CASE
        WHEN first_there.site <> site_id
            THEN
                format('same readings as visit {} at site {}', first_there.visit, first_there.site)
        ELSE format('same readings as visit {} at site {}', last_there.visit, last_there.site)
    END AS detail
FROM around
WHERE first_there.site <> site_id OR last_there.site <> site_id;
