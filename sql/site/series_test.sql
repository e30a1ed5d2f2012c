-- Trend of each unit in two series, TESP and the restriction at the design airflow: Theil-Sen slope with its interval
-- (ranks as in scipy.stats.theilslopes), Mann-Kendall with ties.
CREATE OR REPLACE TEMP TABLE series_test AS
WITH series AS (
    SELECT
        'tesp' AS series,
        c.unit_no,
        c.n AS n_visits,
        date_diff('day', c.first_on, c.last_on) AS span_days,
        p.tesp_slopes AS slopes,
        p.tesp_s AS mann_kendall_s,
        p.tesp_tied AS tied
    FROM series_pair AS p
    INNER JOIN level_centre AS c USING (unit_no)
    UNION ALL
    SELECT
        'restriction' AS series,
        c.unit_no,
        c.n_airflow AS n_visits,
        c.airflow_span_days AS span_days,
        p.restriction_slopes AS slopes,
        p.restriction_s AS mann_kendall_s,
        p.restriction_tied AS tied
    FROM series_pair AS p
    INNER JOIN level_centre AS c USING (unit_no)
)

SELECT
    series,
    unit_no,
    n_visits,
    span_days,
    list_median(slopes) AS slope_per_year,
    mann_kendall_s,
    len(slopes) AS n_slopes,
    sqrt((n_visits * (n_visits - 1) * (2 * n_visits + 5) - tied) / 18.0) AS sigma,
    CASE
        WHEN mann_kendall_s = 0 OR sigma = 0 THEN 0
        ELSE (mann_kendall_s - sign(mann_kendall_s)) / sigma
    END AS z,
    2 * normal_cdf(-abs(z)) AS p_value,
    -- Ranks of the interval: round half to even, as scipy does.
    round_even((n_slopes - 1.959963984540054 * sigma) / 2, 0)::BIGINT AS rank_lo,
    least(round_even((n_slopes + 1.959963984540054 * sigma) / 2, 0)::BIGINT, n_slopes - 1) AS rank_hi,
    slopes[greatest(rank_lo, 1)] AS slope_lo,
    slopes[greatest(rank_hi + 1, 1)] AS slope_hi
FROM series
WHERE
    n_visits >= getvariable('trend_min_visits')
    AND span_days >= getvariable('trend_min_span_days')
    AND len(slopes) > 0;
