-- The probability that the largest of a unit's causes is the largest: less the chances of either rival to be above it, and
-- once again that of both, which was taken off twice. The leads over the two rivals are Student's t with the fleet's
-- scatter borrowed; they have the cause itself in common, so they go together. Given the one lead, the other is a t with one
-- degree of freedom more (Kotz and Nadarajah 2004, Multivariate t Distributions, 1.11; from memory): its chance is averaged
-- over 16 equally probable points of the first one's tail. tests/site/test_side_chance.py holds it against draws.
CREATE OR REPLACE TEMP TABLE side_chance AS
WITH leads AS (
    SELECT
        unit_no,
        getvariable('scatter_prior_df') + n - 1 AS df,
        getvariable('scatter_prior_df') * getvariable('cause_variance') AS fleet_sum,
        sqrt((fleet_sum + (n - 1) * coalesce(variance_1, 0)) / df / n) AS se_1,
        sqrt((fleet_sum + (n - 1) * coalesce(variance_2, 0)) / df / n) AS se_2,
        (fleet_sum + (n - 1) * coalesce(variance_rivals, 0)) / df / n AS rivals,
        (se_1 * se_1 + se_2 * se_2 - rivals) / (2 * se_1 * se_2) AS together,
        margin_1 / se_1 AS lead_1,
        margin_2 / se_2 AS lead_2
    FROM cause_lead
    WHERE airflow_known
),

over AS (
    SELECT
        *,
        student_t_cdf(-lead_1, df) AS over_1,
        student_t_cdf(-lead_2, df) AS over_2
    FROM leads
),

-- Both rivals above: where it is more than a few in ten thousand.
tail AS (
    SELECT
        o.*,
        p.point,
        student_t_quantile(o.over_1 * (p.point - 0.5) / 16, o.df) AS t
    FROM over AS o
    CROSS JOIN (SELECT unnest(range(1, 17)) AS point) AS p
    WHERE least(o.over_1, o.over_2) > 0.0003
),

both_over AS (
    SELECT
        unit_no,
        any_value(over_1) * avg(
            student_t_cdf(
                (-lead_2 - together * t) / sqrt(greatest(1 - together * together, 1e-9) * (df + t * t) / (df + 1)), df + 1
            ) ORDER BY point
        ) AS over_1_and_2
    FROM tail
    GROUP BY unit_no
)

SELECT
    o.unit_no,
    greatest(1 - o.over_1 - o.over_2 + coalesce(b.over_1_and_2, 0), 0) AS prob_side
FROM over AS o
LEFT JOIN both_over AS b USING (unit_no);
