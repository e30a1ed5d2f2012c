-- Each equipment's line with one slope and a level a mode, fitted by weighted least squares; the weights (Huber) come
-- from the robust start, so that a bad visit does not draw the line.
CREATE OR REPLACE TEMP TABLE trend_line AS
WITH own AS (
    SELECT
        equipment_no,
        any_value(n_visits) - any_value(n_modes) - 1 AS df,
        sqrt(
            (
                getvariable('yardstick_prior_visits') * pow(getvariable('trend_scatter_inwc'), 2)
                + df * pow(1.4826 * median(distance_inwc), 2)
            ) / (getvariable('yardstick_prior_visits') + df)
        ) AS scatter_inwc
    FROM trend_residual
    GROUP BY equipment_no
),

weighted AS (
    SELECT
        r.unit_no,
        r.equipment_no,
        r.measurer,
        r.measurer_variance,
        r.at_year,
        r.tesp_inwc,
        o.df,
        least(1, getvariable('robust_cutoff') * o.scatter_inwc / greatest(abs(r.off_line), 1e-12)) AS weight
    FROM trend_residual AS r
    INNER JOIN own AS o USING (equipment_no)
),

mode_mean AS (
    SELECT
        unit_no,
        sum(weight * at_year) / sum(weight) AS mean_year,
        sum(weight * tesp_inwc) / sum(weight) AS mean_inwc
    FROM weighted
    GROUP BY unit_no
),

centred AS MATERIALIZED (
    SELECT
        w.equipment_no,
        w.measurer,
        w.measurer_variance,
        w.df,
        w.weight,
        w.at_year - m.mean_year AS dx,
        w.tesp_inwc - m.mean_inwc AS dy
    FROM weighted AS w
    INNER JOIN mode_mean AS m USING (unit_no)
),

line AS (
    SELECT
        equipment_no,
        any_value(df) AS df,
        sum(weight * dx * dx) AS sxx,
        -- As for a level: a Huber fit's variance divides by (share not clipped)^2 instead of the mean weight.
        sxx * pow(greatest(count(*) FILTER (WHERE weight >= 1), 1) / count(*), 2) / avg(weight) AS effective_sxx,
        sum(weight * dx * dy) / sum(weight * dx * dx) AS slope_inwc_per_year,
        sum(pow(weight * dx, 2)) AS ww_xx,
        sum(pow(weight, 2) * dx * dy) AS ww_xy,
        sum(pow(weight * dy, 2)) AS ww_yy
    FROM centred
    GROUP BY equipment_no
    HAVING sum(weight * dx * dx) > 1e-9
),

share AS (
    SELECT
        equipment_no,
        any_value(measurer_variance)
        * greatest(pow(sum(weight * dx), 2) - sum(pow(weight * dx, 2)), 0) AS shared
    FROM centred
    GROUP BY equipment_no, measurer
),

measurer AS (
    -- One measurer's share of the slope does not average out: what it adds beyond independent visits.
    SELECT equipment_no, sum(shared) AS shared
    FROM share
    GROUP BY equipment_no
)

SELECT
    l.equipment_no,
    l.slope_inwc_per_year,
    l.effective_sxx,
    l.df,
    -- The sum of (weight (dy - slope dx))^2, multiplied out.
    greatest(l.ww_yy - 2 * l.slope_inwc_per_year * l.ww_xy + pow(l.slope_inwc_per_year, 2) * l.ww_xx, 0) / nullif(l.df, 0)
        AS scatter_variance,
    m.shared / pow(l.sxx, 2) AS shared_variance
FROM line AS l
INNER JOIN measurer AS m USING (equipment_no);
