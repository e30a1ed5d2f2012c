-- The causes of each unit with the probability that the largest is the largest; the variance of a lead borrows the
-- fleet's. Where no airflow is known the probability is not given.
CREATE OR REPLACE TEMP TABLE site_cause AS
WITH borrowed AS (
    SELECT
        *,
        getvariable('scatter_prior_df') + n - 1 AS df,
        getvariable('scatter_prior_df') * getvariable('cause_variance') AS fleet_sum
    FROM cause_lead
),

chance AS (
    -- At most the two rivals' chances are taken off: a lower bound of the probability, close where it matters.
    SELECT
        unit_no,
        greatest(
            1
            - student_t_cdf(-margin_1 / sqrt((fleet_sum + (n - 1) * coalesce(variance_1, 0)) / df / n), df)
            - student_t_cdf(-margin_2 / sqrt((fleet_sum + (n - 1) * coalesce(variance_2, 0)) / df / n), df), 0
        ) AS prob_side
    FROM borrowed
)

SELECT m.*, c.prob_side
FROM cause_mean AS m
LEFT JOIN chance AS c USING (unit_no);
