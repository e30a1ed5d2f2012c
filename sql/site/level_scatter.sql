-- Level and scatter of each equipment and mode from the weighted visits; the scatter is pooled with the fleet's
-- afterwards (pipeline/site/moderation.py fits how much).
CREATE OR REPLACE TEMP TABLE level_scatter AS
WITH level AS (
    SELECT equipment_id, mode, count(*) AS n, sum(weight * tesp_inwc) / sum(weight) AS level_inwc
    FROM level_weight
    GROUP BY equipment_id, mode
),

measurer AS (
    -- What one technician with one instrument shares does not average out within the site.
    SELECT equipment_id, mode, sum(shared_variance) AS shared_variance
    FROM (
        SELECT
            w.equipment_id,
            w.mode,
            any_value(w.measurer_variance)
            * greatest(pow(sum(w.weight) / any_value(t.total), 2) - sum(w.weight) / any_value(t.total) / any_value(t.n), 0)
                AS shared_variance
        FROM level_weight AS w
        INNER JOIN (
            SELECT equipment_id, mode, sum(weight) AS total, count(*) AS n FROM level_weight GROUP BY ALL
        ) AS t USING (equipment_id, mode)
        GROUP BY w.equipment_id, w.mode, w.technician_id, w.instrument_id
    )
    GROUP BY equipment_id, mode
)

SELECT
    l.equipment_id,
    l.mode,
    any_value(l.n) AS n,
    any_value(l.level_inwc) AS level_inwc,
    any_value(m.shared_variance) AS shared_variance,
    sum(pow(w.weight * (w.tesp_inwc - l.level_inwc), 2)) / nullif(any_value(l.n) - 1, 0) AS scatter_variance,
    -- Variance of a Huber mean: clipped scatter / (share not clipped)^2 / n (Huber 1981; from memory).
    pow(greatest(count(*) FILTER (WHERE w.weight >= 1), 1), 2) / any_value(l.n) AS effective_visits
FROM level AS l
INNER JOIN level_weight AS w USING (equipment_id, mode)
INNER JOIN measurer AS m USING (equipment_id, mode)
GROUP BY l.equipment_id, l.mode;
