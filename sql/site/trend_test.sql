-- The test of each equipment's line: a moderated t (Smyth 2004), the scatter around the line borrows the fleet's; kendall_p
-- is the robust cross-check: where it speaks against the slope, the larger p counts; where a change point is named, the
-- readings step and do not drift: p is 1.
CREATE OR REPLACE TEMP TABLE trend_test AS
WITH stepped AS (
    SELECT n.equipment_no
    FROM change_point AS c
    INNER JOIN staging.equipment_facts AS n USING (equipment_id)
),

-- Student's t for each number of degrees of freedom that occurs.
student AS (
    SELECT
        df,
        getvariable('trend_prior_df') AS prior_df,
        prior_df + df AS moderated_df,
        student_t_quantile(0.975::DOUBLE, moderated_df) AS t_975
    FROM (SELECT DISTINCT df FROM trend_line) AS d
)

SELECT
    s.equipment_no,
    s.kendall_s::BIGINT AS kendall_s,
    s.kendall_p,
    l.slope_inwc_per_year,
    t.prior_df,
    t.moderated_df,
    sqrt(
        (
            t.prior_df * getvariable('trend_prior_variance')
            + l.df * coalesce(l.scatter_variance, 0)
        ) / t.moderated_df / l.effective_sxx + l.shared_variance
    ) AS slope_se,
    2 * student_t_cdf(-abs(l.slope_inwc_per_year) / slope_se, t.moderated_df) AS t_p,
    CASE
        WHEN c.equipment_no IS NOT NULL THEN 1
        WHEN s.kendall_p > getvariable('trend_cross_check_p') THEN greatest(t_p, s.kendall_p)
        ELSE t_p
    END AS p_value,
    slope_se * t.t_975 AS half_width
FROM trend_start AS s
INNER JOIN trend_line AS l USING (equipment_no)
INNER JOIN student AS t ON l.df = t.df
LEFT JOIN stepped AS c USING (equipment_no);
