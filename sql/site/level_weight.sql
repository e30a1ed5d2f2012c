-- Huber weights against a bad visit: the yardstick of a site is its own median distance, pooled with the fleet's
-- (few visits borrow the fleet's scatter; a site that scatters more keeps its own).
CREATE OR REPLACE TEMP TABLE level_weight AS
WITH yardstick AS (
    SELECT
        c.equipment_id,
        c.mode,
        c.middle_inwc,
        sqrt(
            (
                getvariable('yardstick_prior_visits') * pow(getvariable('level_scatter_inwc'), 2)
                + (c.n - 1) * pow(1.4826 * c.mad_inwc / sqrt(greatest(1 - 1.0 / c.n, 0.1)), 2)
            ) / (getvariable('yardstick_prior_visits') + c.n - 1)
        ) AS scatter_inwc
    FROM level_centre AS c
)

SELECT
    v.*,
    y.scatter_inwc,
    least(
        1,
        getvariable('robust_cutoff') * y.scatter_inwc / greatest(abs(v.tesp_inwc - y.middle_inwc), 1e-12)
    ) AS weight
FROM level_visit AS v
INNER JOIN yardstick AS y USING (equipment_id, mode);
