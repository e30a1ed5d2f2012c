-- Each unit's line with one slope and a level a mode, fitted by weighted least squares; the weights (Huber) come
-- from the robust start, so that a bad visit does not draw the line.
CREATE OR REPLACE TEMP TABLE trend_line AS
WITH own AS (
    SELECT
        r.equipment_id,
        sqrt(
            (
                getvariable('yardstick_prior_visits') * pow(getvariable('trend_scatter_inwc'), 2)
                + (any_value(r.n_visits) - any_value(r.n_modes) - 1)
                * pow(1.4826 * median(r.distance_inwc), 2)
            ) / (getvariable('yardstick_prior_visits') + any_value(r.n_visits) - any_value(r.n_modes) - 1)
        ) AS scatter_inwc
    FROM trend_residual AS r
    GROUP BY r.equipment_id
),

weighted AS (
    SELECT
        r.*,
        least(1, getvariable('robust_cutoff') * o.scatter_inwc / greatest(abs(r.off_line), 1e-12)) AS weight
    FROM trend_residual AS r
    INNER JOIN own AS o USING (equipment_id)
),

mode_mean AS (
    SELECT
        equipment_id,
        mode,
        sum(weight * at_year) / sum(weight) AS mean_year,
        sum(weight * tesp_inwc) / sum(weight) AS mean_inwc
    FROM weighted
    GROUP BY equipment_id, mode
),

centred AS (
    SELECT w.*, w.at_year - m.mean_year AS dx, w.tesp_inwc - m.mean_inwc AS dy
    FROM weighted AS w
    INNER JOIN mode_mean AS m USING (equipment_id, mode)
),

line AS (
    SELECT
        equipment_id,
        any_value(n_visits) AS n_visits,
        any_value(n_modes) AS n_modes,
        sum(weight * dx * dx) AS sxx,
        -- As for a level: a Huber fit's variance divides by (share not clipped)^2 instead of the mean weight.
        sxx * pow(greatest(count(*) FILTER (WHERE weight >= 1), 1) / count(*), 2) / avg(weight) AS effective_sxx,
        sum(weight * dx * dy) / sum(weight * dx * dx) AS slope_inwc_per_year
    FROM centred
    GROUP BY equipment_id
    HAVING sum(weight * dx * dx) > 1e-9
),

measurer AS (
    -- One measurer's share of the slope does not average out: what it adds beyond independent visits.
    SELECT equipment_id, sum(shared_variance) AS shared_variance
    FROM (
        SELECT
            c.equipment_id,
            any_value(c.measurer_variance)
            * greatest(pow(sum(c.weight * c.dx / l.sxx), 2) - sum(pow(c.weight * c.dx / l.sxx, 2)), 0)
                AS shared_variance
        FROM centred AS c
        INNER JOIN line AS l USING (equipment_id)
        GROUP BY c.equipment_id, c.technician_id, c.instrument_id
    )
    GROUP BY equipment_id
)

SELECT
    l.equipment_id,
    l.slope_inwc_per_year,
    l.effective_sxx,
    any_value(l.n_visits) - any_value(l.n_modes) - 1 AS df,
    sum(pow(c.weight * (c.dy - l.slope_inwc_per_year * c.dx), 2)) / nullif(any_value(l.n_visits) - any_value(l.n_modes) - 1, 0)
        AS scatter_variance,
    any_value(m.shared_variance) AS shared_variance
FROM line AS l
INNER JOIN centred AS c USING (equipment_id)
INNER JOIN measurer AS m USING (equipment_id)
GROUP BY l.equipment_id, l.slope_inwc_per_year, l.effective_sxx;
