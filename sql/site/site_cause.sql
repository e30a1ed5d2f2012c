-- The three causes of each equipment and mode over its level visits (sides known): means, and the probability that
-- the largest is the largest. Where no airflow is known all of it is restriction and the probability is not given.
CREATE OR REPLACE TEMP TABLE site_cause AS
WITH visit AS (
    SELECT
        *,
        airflow_ratio IS NOT NULL AS airflow_known,
        bool_or(airflow_ratio IS NOT NULL) OVER (PARTITION BY equipment_id, mode) AS any_airflow_known
    FROM level_weight
    WHERE sides_known
),

mean AS (
    SELECT
        equipment_id,
        mode,
        count(*) AS n,
        bool_and(airflow_known) AS airflow_known,
        sum(weight * return_restriction_inwc) / sum(weight) AS return_cause,
        sum(weight * supply_restriction_inwc) / sum(weight) AS supply_cause,
        sum(weight * airflow_setting_inwc) / sum(weight) AS airflow_cause,
        var_samp(return_restriction_inwc - supply_restriction_inwc) AS var_return_supply,
        var_samp(return_restriction_inwc - airflow_setting_inwc) AS var_return_airflow,
        var_samp(supply_restriction_inwc - airflow_setting_inwc) AS var_supply_airflow
    FROM visit
    WHERE airflow_known OR NOT any_airflow_known
    GROUP BY equipment_id, mode
),

largest AS (
    SELECT
        *,
        CASE
            WHEN return_cause >= supply_cause AND (return_cause >= airflow_cause OR NOT airflow_known) THEN 'return'
            WHEN supply_cause >= airflow_cause OR NOT airflow_known THEN 'supply'
            ELSE 'airflow_setting'
        END AS side
    FROM mean
),

lead_over AS (
    SELECT
        equipment_id,
        mode,
        n,
        unnest([
            CASE side
                WHEN 'return' THEN struct_pack(margin := return_cause - supply_cause, variance := var_return_supply)
                WHEN 'supply' THEN struct_pack(margin := supply_cause - return_cause, variance := var_return_supply)
                ELSE struct_pack(margin := airflow_cause - return_cause, variance := var_return_airflow)
            END,
            CASE side
                WHEN 'return' THEN struct_pack(margin := return_cause - airflow_cause, variance := var_return_airflow)
                WHEN 'supply' THEN struct_pack(margin := supply_cause - airflow_cause, variance := var_supply_airflow)
                ELSE struct_pack(margin := airflow_cause - supply_cause, variance := var_supply_airflow)
            END
        ]) AS rival
    FROM largest
    WHERE airflow_known
),

fleet AS (
    SELECT quantile_cont(rival.variance, 0.5) AS variance
    FROM lead_over
    WHERE n >= getvariable('min_visits')
),

chance AS (
    -- At most the two rivals' chances are taken off: a lower bound of the probability, close where it matters.
    SELECT
        l.equipment_id,
        l.mode,
        greatest(
            1 - sum(
                student_t_cdf(
                    -l.rival.margin / sqrt(
                        (
                            getvariable('scatter_prior_df') * coalesce(f.variance, 4e-4)
                            + (l.n - 1) * coalesce(l.rival.variance, 0)
                        ) / (getvariable('scatter_prior_df') + l.n - 1) / l.n
                    ), getvariable('scatter_prior_df') + l.n - 1
                )
            ), 0
        ) AS prob_side
    FROM lead_over AS l
    CROSS JOIN fleet AS f
    GROUP BY l.equipment_id, l.mode
)

SELECT l.*, c.prob_side
FROM largest AS l
LEFT JOIN chance AS c USING (equipment_id, mode);
