-- A robust start for each equipment's slope over its modes: the median of the pairwise slopes within modes, and Kendall's
-- S and its variance summed over modes (seasonal Kendall: Hirsch and Slack 1984).
CREATE OR REPLACE TEMP TABLE trend_start AS
SELECT
    c.unit_no // 2 AS equipment_no,
    sum(c.n)::BIGINT AS n_visits,
    count(*) AS n_modes,
    list_median(flatten(list(p.tesp_slopes))) AS slope,
    sum(p.tesp_s)::BIGINT AS kendall_s,
    sqrt(sum(c.n * (c.n - 1) * (2 * c.n + 5) - p.tesp_tied) / 18.0) AS kendall_sigma,
    CASE
        WHEN kendall_s = 0 OR kendall_sigma = 0 THEN 0
        ELSE (kendall_s - sign(kendall_s)) / kendall_sigma
    END AS kendall_z,
    2 * normal_cdf(-abs(kendall_z)) AS kendall_p
FROM series_pair AS p
INNER JOIN level_centre AS c USING (unit_no)
GROUP BY equipment_no
HAVING n_visits > n_modes + 1 AND slope IS NOT NULL;
