-- Level and scatter of each unit from the weighted visits, in one pass over their distances from the middle, and what else
-- these say on average: both sides (where they are known), airflow and fan power. The scatter is pooled with the fleet's
-- afterwards (pipeline/moderation.py fits how much).
CREATE OR REPLACE TEMP TABLE level_scatter AS
WITH unit_sum AS (
    SELECT
        unit_no,
        count(*) AS n,
        sum(weight) AS total,
        any_value(middle_inwc) AS middle_inwc,
        sum(weight * off_middle_inwc) / total AS off_inwc,
        sum(pow(weight, 2)) AS ww,
        sum(pow(weight, 2) * off_middle_inwc) AS ww_off,
        sum(pow(weight * off_middle_inwc, 2)) AS ww_off_off,
        count(*) FILTER (WHERE weight >= 1) AS n_not_clipped,
        sum(weight * return_inwc) FILTER (WHERE sides_known) / sum(weight) FILTER (WHERE sides_known)
            AS return_level_inwc,
        sum(weight * supply_inwc) FILTER (WHERE sides_known) / sum(weight) FILTER (WHERE sides_known)
            AS supply_level_inwc,
        sum(weight * airflow_ratio) / sum(weight) FILTER (WHERE airflow_ratio IS NOT NULL) AS airflow_ratio,
        sum(weight * airflow_cfm) / sum(weight) FILTER (WHERE airflow_cfm IS NOT NULL) AS airflow_cfm,
        sum(weight * power_w) / sum(weight) FILTER (WHERE power_w IS NOT NULL) AS power_w,
        count(*) FILTER (WHERE offset_corrected) AS n_offset_corrected
    FROM level_weight
    GROUP BY unit_no
),

share AS (
    SELECT unit_no, sum(weight) AS weight, any_value(measurer_variance) AS measurer_variance
    FROM level_weight
    GROUP BY unit_no, measurer
),

measurer AS (
    -- What one technician with one instrument shares does not average out within the unit.
    SELECT
        s.unit_no,
        sum(s.measurer_variance * greatest(pow(s.weight / u.total, 2) - s.weight / u.total / u.n, 0)) AS shared_variance
    FROM share AS s
    INNER JOIN unit_sum AS u USING (unit_no)
    GROUP BY s.unit_no
)

SELECT
    u.unit_no,
    u.n,
    u.middle_inwc + u.off_inwc AS level_inwc,
    m.shared_variance,
    -- The sum of (weight (tesp - level))^2, multiplied out.
    greatest(u.ww_off_off - 2 * u.off_inwc * u.ww_off + pow(u.off_inwc, 2) * u.ww, 0) / nullif(u.n - 1, 0)
        AS scatter_variance,
    -- Variance of a Huber mean: clipped scatter / (share not clipped)^2 / n (Huber 1981; from memory).
    pow(greatest(u.n_not_clipped, 1), 2) / u.n AS effective_visits,
    u.return_level_inwc,
    u.supply_level_inwc,
    u.airflow_ratio,
    u.airflow_cfm,
    u.power_w,
    u.n_offset_corrected
FROM unit_sum AS u
INNER JOIN measurer AS m USING (unit_no);
