-- Trend of each unit, its modes taken together without pooling their readings. The p value is of a moderated t
-- (Smyth 2004): the scatter around the line borrows the fleet's; kendall_p is the robust cross-check: where it speaks
-- against the slope, the larger p counts; where a change point is named,
-- the readings step and do not drift: p is 1.
CREATE OR REPLACE TABLE equipment_trend AS
WITH tested AS (
    SELECT
        s.*,
        l.slope_inwc_per_year,
        least(getvariable('trend_prior_df'), getvariable('trend_prior_df_cap')) AS prior_df,
        prior_df + l.df AS moderated_df,
        sqrt(
            (
                prior_df * getvariable('trend_prior_variance')
                + l.df * coalesce(l.scatter_variance, 0)
            ) / moderated_df / l.effective_sxx + l.shared_variance
        ) AS slope_se,
        2 * student_t_cdf(-abs(l.slope_inwc_per_year) / slope_se, moderated_df) AS t_p,
        CASE
            WHEN c.equipment_id IS NOT NULL THEN 1
            WHEN s.kendall_p > getvariable('trend_cross_check_p') THEN greatest(t_p, s.kendall_p)
            ELSE t_p
        END AS p_value,
        slope_se * student_t_quantile(0.975::DOUBLE, moderated_df) AS half_width
    FROM trend_start AS s
    INNER JOIN trend_line AS l USING (equipment_id)
    LEFT JOIN change_point AS c ON s.equipment_id = c.equipment_id
),

ranked AS (
    SELECT
        *,
        count(*) OVER () AS family,
        row_number() OVER (ORDER BY p_value, equipment_id) AS place_in_family
    FROM tested
),

adjusted AS (
    SELECT
        *,
        least(1, min(p_value * family / place_in_family) OVER (ORDER BY place_in_family DESC)) AS q_value
    FROM ranked
),

seen AS (
    SELECT
        equipment_id,
        any_value(site_id) AS site_id,
        sum(n_visits)::BIGINT AS n_visits,
        date_diff('day', min(first_on), max(last_on)) AS span_days
    FROM site_static
    GROUP BY equipment_id
)

SELECT
    s.site_id,
    s.equipment_id,
    s.n_visits,
    s.span_days,
    a.slope_inwc_per_year,
    a.slope_inwc_per_year - a.half_width AS slope_lo,
    a.slope_inwc_per_year + a.half_width AS slope_hi,
    a.kendall_s,
    a.kendall_p,
    a.p_value,
    a.q_value,
    CASE
        WHEN a.q_value IS NULL THEN 'too_few_visits'
        WHEN a.q_value <= getvariable('trend_q') AND a.slope_inwc_per_year > 0 THEN 'rising'
        WHEN a.q_value <= getvariable('trend_q') AND a.slope_inwc_per_year < 0 THEN 'falling'
        ELSE 'steady'
    END AS trend
FROM seen AS s
LEFT JOIN adjusted AS a USING (equipment_id)
ORDER BY s.equipment_id;
