-- A robust start for each unit's slope over its modes: the median of the pairwise slopes within modes, and Kendall's
-- S and its variance summed over modes (seasonal Kendall: Hirsch and Slack 1984).
CREATE OR REPLACE TEMP TABLE trend_start AS
WITH span AS (
    SELECT
        equipment_id,
        count(*) AS n_visits,
        count(DISTINCT mode) AS n_modes,
        date_diff('day', min(visited_on), max(visited_on)) AS span_days,
        n_visits >= getvariable('trend_min_visits')
        AND span_days >= getvariable('trend_min_span_days')
        AND n_visits > n_modes + 1 AS enough
    FROM level_visit
    GROUP BY equipment_id
),

pair AS (
    SELECT
        a.equipment_id,
        median((b.tesp_inwc - a.tesp_inwc) / (b.at_year - a.at_year)) AS slope,
        sum(sign(round(b.tesp_inwc - a.tesp_inwc, 9)))::BIGINT AS kendall_s
    FROM level_visit AS a
    INNER JOIN level_visit AS b USING (equipment_id, mode)
    WHERE a.at_year < b.at_year
    GROUP BY a.equipment_id
),

mode_size AS (
    SELECT equipment_id, sum(n * (n - 1) * (2 * n + 5)) AS untied
    FROM (SELECT equipment_id, count(*) AS n FROM level_visit GROUP BY equipment_id, mode)
    GROUP BY equipment_id
),

tie AS (
    SELECT equipment_id, sum(t * (t - 1) * (2 * t + 5)) AS correction
    FROM (
        SELECT equipment_id, count(*) AS t
        FROM level_visit
        GROUP BY equipment_id, mode, round(tesp_inwc, 9)
        UNION ALL
        SELECT equipment_id, count(*) AS t
        FROM level_visit
        GROUP BY equipment_id, mode, at_year
    )
    GROUP BY equipment_id
)

SELECT
    s.equipment_id,
    s.n_visits,
    s.n_modes,
    s.span_days,
    p.slope,
    p.kendall_s,
    sqrt((m.untied - t.correction) / 18.0) AS kendall_sigma,
    CASE
        WHEN p.kendall_s = 0 OR kendall_sigma = 0 THEN 0
        ELSE (p.kendall_s - sign(p.kendall_s)) / kendall_sigma
    END AS kendall_z,
    2 * normal_cdf(-abs(kendall_z)) AS kendall_p
FROM span AS s
INNER JOIN pair AS p USING (equipment_id)
INNER JOIN mode_size AS m USING (equipment_id)
INNER JOIN tie AS t USING (equipment_id)
WHERE s.enough;
