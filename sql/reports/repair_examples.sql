-- The newest top repaired visits: what was recorded, what it was mended to, and why.
-- The latest days that hold as many are known: only their visits are looked through.
WITH days AS (
    SELECT
        visited_on,
        sum(n_mended) OVER (ORDER BY visited_on DESC) - n_mended AS n_later
    FROM visit_count
    WHERE counted_by = 'day' AND n_mended > 0
),

-- Chosen before their sites are looked up.
newest AS MATERIALIZED (
    SELECT
        visit_id,
        visited_on,
        equipment_id,
        return_recorded,
        supply_recorded,
        pressure_unit,
        return_inwc,
        supply_inwc,
        tesp_inwc,
        valid,
        repairs
    FROM visit_reading
    WHERE
        repairs <> ''
        AND visited_on >= (
            SELECT min(days.visited_on) FROM days
            WHERE days.n_later < getvariable('top')
        )
    ORDER BY visited_on DESC, visit_id ASC
    LIMIT getvariable('top')
)

SELECT
    n.visit_id,
    n.visited_on,
    e.site_id,
    n.return_recorded,
    n.supply_recorded,
    n.pressure_unit,
    n.return_inwc,
    n.supply_inwc,
    n.tesp_inwc,
    n.valid,
    n.repairs[:300] AS repairs,
    (
        SELECT sum(n_mended)::BIGINT FROM visit_count
        WHERE counted_by = 'day'
    ) AS n_repaired
FROM newest AS n
LEFT JOIN equipment AS e ON n.equipment_id = e.equipment_id
ORDER BY n.visited_on DESC, n.visit_id ASC;
