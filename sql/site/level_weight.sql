-- Huber weights against a bad visit: the yardstick of a unit is its own median distance, pooled with the fleet's
-- (few visits borrow the fleet's scatter; a unit that scatters more keeps its own). A view: the weight is quickly made.
CREATE OR REPLACE TEMP VIEW level_weight AS
WITH yardstick AS (
    SELECT
        unit_no,
        middle_inwc,
        sqrt(
            (
                getvariable('yardstick_prior_visits') * pow(getvariable('level_scatter_inwc'), 2)
                + (n - 1) * pow(1.4826 * mad_inwc / sqrt(greatest(1 - 1.0 / n, 0.1)), 2)
            ) / (getvariable('yardstick_prior_visits') + n - 1)
        ) AS scatter_inwc
    FROM level_centre
)

SELECT
    v.*,
    y.middle_inwc,
    v.tesp_inwc - y.middle_inwc AS off_middle_inwc,
    least(1, getvariable('robust_cutoff') * y.scatter_inwc / greatest(abs(v.tesp_inwc - y.middle_inwc), 1e-12)) AS weight
FROM level_visit AS v
INNER JOIN yardstick AS y USING (unit_no);
