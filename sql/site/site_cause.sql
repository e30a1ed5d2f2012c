-- The causes of each equipment and mode with the probability that the largest is the largest; the variance of a lead
-- borrows the fleet's. Where no airflow is known the probability is not given.
CREATE OR REPLACE TEMP TABLE site_cause AS
WITH chance AS (
    -- At most the two rivals' chances are taken off: a lower bound of the probability, close where it matters.
    SELECT
        l.equipment_id,
        l.mode,
        greatest(
            1 - sum(
                student_t_cdf(
                    -l.rival.margin / sqrt(
                        (
                            getvariable('scatter_prior_df') * getvariable('cause_variance')
                            + (l.n - 1) * coalesce(l.rival.variance, 0)
                        ) / (getvariable('scatter_prior_df') + l.n - 1) / l.n
                    ), getvariable('scatter_prior_df') + l.n - 1
                )
            ), 0
        ) AS prob_side
    FROM cause_lead AS l
    GROUP BY l.equipment_id, l.mode
)

SELECT l.*, c.prob_side
FROM cause_mean AS l
LEFT JOIN chance AS c USING (equipment_id, mode);
