-- Trend of each equipment and mode in two series, TESP and the restriction at the design airflow: Theil-Sen slope with its
-- interval (ranks as in scipy.stats.theilslopes), Mann-Kendall with ties. A fan set to another tap moves the TESP and not
-- the restriction; a duct that clogs or is opened moves both.
CREATE OR REPLACE TEMP TABLE series_test AS
WITH trend_series AS (
    SELECT
        'tesp' AS series,
        equipment_id,
        mode,
        visited_on,
        at_year,
        tesp_inwc AS value
    FROM level_visit
    UNION ALL
    SELECT
        'restriction' AS series,
        equipment_id,
        mode,
        visited_on,
        at_year,
        tesp_inwc / pow(airflow_ratio, getvariable('duct_exponent')) AS value
    FROM level_visit
    WHERE airflow_ratio > 0
),

span AS (
    SELECT
        series,
        equipment_id,
        mode,
        count(*) AS n_visits,
        date_diff('day', min(visited_on), max(visited_on)) AS span_days,
        median(at_year) AS middle_year,
        median(value) AS middle_value,
        n_visits >= getvariable('trend_min_visits') AND span_days >= getvariable('trend_min_span_days') AS enough
    FROM trend_series
    GROUP BY series, equipment_id, mode
),

judged AS (
    SELECT v.series, v.equipment_id, v.mode, v.at_year, v.value
    FROM trend_series AS v
    INNER JOIN span AS s USING (series, equipment_id, mode)
    WHERE s.enough
),

pair AS (
    SELECT
        a.series,
        a.equipment_id,
        a.mode,
        (b.value - a.value) / (b.at_year - a.at_year) AS slope,
        sign(round(b.value - a.value, 9)) AS direction
    FROM judged AS a
    INNER JOIN judged AS b USING (series, equipment_id, mode)
    WHERE a.at_year < b.at_year
),

slope AS (
    SELECT
        series,
        equipment_id,
        mode,
        list_sort(list(slope)) AS slopes,
        median(slope) AS slope_per_year,
        sum(direction)::BIGINT AS mann_kendall_s
    FROM pair
    GROUP BY series, equipment_id, mode
),

tie_value AS (
    SELECT series, equipment_id, mode, count(*) AS t
    FROM judged
    GROUP BY series, equipment_id, mode, round(value, 9)
),

tie_time AS (
    SELECT series, equipment_id, mode, count(*) AS t
    FROM judged
    GROUP BY series, equipment_id, mode, at_year
),

tie AS (
    SELECT series, equipment_id, mode, sum(t * (t - 1) * (2 * t + 5)) AS correction
    FROM tie_value
    GROUP BY series, equipment_id, mode
),

clash AS (
    SELECT series, equipment_id, mode, sum(t * (t - 1) * (2 * t + 5)) AS correction
    FROM tie_time
    GROUP BY series, equipment_id, mode
),

tested AS (
    SELECT
        s.series,
        s.equipment_id,
        s.mode,
        s.n_visits,
        s.span_days,
        s.middle_year,
        s.middle_value,
        l.slope_per_year,
        l.slopes,
        l.mann_kendall_s,
        len(l.slopes) AS n_slopes,
        s.n_visits * (s.n_visits - 1) * (2 * s.n_visits + 5) AS untied,
        sqrt((untied - t.correction - c.correction) / 18.0) AS sigma,
        CASE
            WHEN l.mann_kendall_s = 0 OR sigma = 0 THEN 0
            ELSE (l.mann_kendall_s - sign(l.mann_kendall_s)) / sigma
        END AS z,
        2 * normal_cdf(-abs(z)) AS p_value,
        -- Ranks of the interval: round half to even, as scipy does.
        round_even((n_slopes - 1.959963984540054 * sigma) / 2, 0)::BIGINT AS rank_lo,
        least(round_even((n_slopes + 1.959963984540054 * sigma) / 2, 0)::BIGINT, n_slopes - 1) AS rank_hi
    FROM span AS s
    INNER JOIN slope AS l USING (series, equipment_id, mode)
    INNER JOIN tie AS t USING (series, equipment_id, mode)
    INNER JOIN clash AS c USING (series, equipment_id, mode)
    WHERE s.enough
)

SELECT
    s.series,
    s.equipment_id,
    s.mode,
    s.n_visits,
    s.span_days,
    s.middle_year,
    s.middle_value,
    a.slope_per_year,
    a.slopes[greatest(a.rank_lo, 1)] AS slope_lo,
    a.slopes[greatest(a.rank_hi + 1, 1)] AS slope_hi,
    a.mann_kendall_s,
    a.p_value
FROM span AS s
LEFT JOIN tested AS a USING (series, equipment_id, mode);
