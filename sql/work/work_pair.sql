-- Each work with comparable visits on both sides (work_side.sql): TESP after minus before, modes averaged. Free of
-- regression to the mean: the mean before the work is drawn towards the fleet as far as its scatter says.
CREATE OR REPLACE TABLE work_pair AS
WITH fleet AS (
    SELECT
        avg(level_inwc) AS mean_inwc,
        -- Of one unit nobody knows how far units differ: then nothing is drawn. (greatest() passes an unknown over.)
        CASE
            WHEN count(*) > 1
                THEN greatest(var_samp(level_inwc) - getvariable('scatter_prior_variance') / avg(n), 0)
        END AS between_variance
    FROM level_scatter
    WHERE n >= getvariable('min_visits')
)

SELECT
    s.work_id,
    any_value(s.work_kind) AS work_kind,
    avg(
        s.after_inwc - coalesce(
            f.mean_inwc + (s.before_inwc - f.mean_inwc) * f.between_variance
            / (f.between_variance + getvariable('scatter_prior_variance') / s.n_before),
            s.before_inwc
        )
    ) AS shift_inwc,
    avg(s.within_before::INTEGER) AS within_before,
    avg(s.within_after::INTEGER) AS within_after,
    any_value(s.cost) AS cost
FROM work_side AS s
CROSS JOIN fleet AS f
GROUP BY s.work_id;
