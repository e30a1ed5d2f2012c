-- The visits behind each coaching finding, to look at with the technician: the newest newest of each technician and
-- finding, for at most top findings, and so those since the last training first; visits that are dated after the reference
-- day come last, as their day is wrong. Only technicians with the minimum of visits are named. n_since_training: visits of
-- the finding since the last training, empty without one.
WITH named AS (
    SELECT technician_id
    FROM technician_zeroing
    WHERE
        n_visits >= (
            SELECT setting.value FROM setting
            WHERE setting.name = 'technician_min_visits'
        )
),

findings AS (
    SELECT
        c.technician_id,
        c.finding,
        count(*) AS n_of_finding,
        any_value(t.trained_on) AS trained_on,
        CASE
            WHEN any_value(t.trained_on) IS NOT NULL
                THEN count(*) FILTER (WHERE c.visited_on > t.trained_on AND c.visited_on <= p.today)
        END AS n_since_training
    FROM coaching_visit AS c
    CROSS JOIN publication AS p
    INNER JOIN named ON c.technician_id = named.technician_id
    LEFT JOIN technician AS t ON c.technician_id = t.technician_id
    GROUP BY c.technician_id, c.finding
    ORDER BY c.technician_id, c.finding
    LIMIT getvariable('top')
),

numbered AS (
    SELECT
        c.technician_id,
        c.finding,
        c.visit_id,
        c.visited_on,
        c.site_id,
        c.equipment_id,
        c.mode,
        c.return_recorded,
        c.supply_recorded,
        c.pressure_unit,
        c.look_at[:300] AS look_at,
        f.n_of_finding,
        f.trained_on,
        f.n_since_training,
        coalesce(c.visited_on < f.trained_on, FALSE) AS is_before_training,
        coalesce(c.visited_on > p.today, FALSE) AS is_in_future,
        row_number() OVER (
            PARTITION BY c.technician_id, c.finding ORDER BY is_in_future ASC, c.visited_on DESC, c.visit_id ASC
        ) AS place
    FROM coaching_visit AS c
    CROSS JOIN publication AS p
    INNER JOIN findings AS f ON c.technician_id = f.technician_id AND c.finding = f.finding
)

SELECT
    n.technician_id,
    n.finding,
    CASE n.finding
        WHEN 'hidden_offset_return' THEN 'Hidden offset of the return port'
        WHEN 'hidden_offset_supply' THEN 'Hidden offset of the supply port'
        ELSE coalesce(k.title, n.finding)
    END AS title,
    n.visit_id,
    n.visited_on,
    n.site_id,
    n.equipment_id,
    n.mode,
    n.return_recorded,
    n.supply_recorded,
    n.pressure_unit,
    n.look_at,
    n.is_in_future,
    n.trained_on,
    n.n_since_training,
    n.is_before_training,
    n.n_of_finding
FROM numbered AS n
LEFT JOIN check_catalog AS k ON n.finding = k.check_id
WHERE n.place <= getvariable('newest')
ORDER BY n.technician_id ASC, n.finding ASC, n.place ASC;
