-- All pairs of visits of a unit, from the earlier to the later: the slopes between them in ascending order, and Kendall's
-- S (ties count 0), for each of both series. Ties: the sum over groups of t equal values, and of t visits at the same
-- time, of t (t - 1)(2 t + 5), which is what they take from the variance of S times 18 (Kendall 1975).
CREATE OR REPLACE TEMP TABLE series_pair AS
WITH pair AS (
    SELECT
        a.unit_no,
        b.at_year - a.at_year AS years,
        b.tesp_inwc - a.tesp_inwc AS tesp_rise,
        b.restriction_inwc - a.restriction_inwc AS restriction_rise
    FROM series_visit AS a
    INNER JOIN series_visit AS b USING (unit_no)
    WHERE a.at_year < b.at_year
),

slope AS (
    SELECT
        unit_no,
        list_sort(list(tesp_rise / years)) AS tesp_slopes,
        sum(sign(round(tesp_rise, 9)))::BIGINT AS tesp_s,
        list_sort(list(restriction_rise / years) FILTER (WHERE restriction_rise IS NOT NULL)) AS restriction_slopes,
        sum(sign(round(restriction_rise, 9)))::BIGINT AS restriction_s
    FROM pair
    GROUP BY unit_no
),

tie AS (
    SELECT unit_no, 'tesp' AS series, count(*) AS t
    FROM series_visit
    GROUP BY unit_no, round(tesp_inwc, 9)
    UNION ALL
    SELECT unit_no, 'restriction' AS series, count(*) AS t
    FROM series_visit
    WHERE restriction_inwc IS NOT NULL
    GROUP BY unit_no, round(restriction_inwc, 9)
    UNION ALL
    SELECT unit_no, unnest(['tesp', 'restriction']) AS series, unnest([count(*), count(restriction_inwc)]) AS t
    FROM series_visit
    GROUP BY unit_no, at_year
),

tied AS (
    SELECT
        unit_no,
        sum(t * (t - 1) * (2 * t + 5)) FILTER (WHERE series = 'tesp') AS tesp_tied,
        sum(t * (t - 1) * (2 * t + 5)) FILTER (WHERE series = 'restriction') AS restriction_tied
    FROM tie
    GROUP BY unit_no
)

SELECT t.*, s.* EXCLUDE (unit_no)
FROM tied AS t
LEFT JOIN slope AS s USING (unit_no);
