-- False discovery rates over the fleet (Benjamini and Hochberg 1995), family by family: the series of TESP and of
-- restriction, and the equipment's lines. Of tests with one p value one row: rank tests of few visits have few of them.
CREATE OR REPLACE TEMP TABLE every_rate AS
WITH tested AS (
    SELECT 'tesp' AS series, p_value, count(*) AS n
    FROM staging.unit_trend
    WHERE p_value IS NOT NULL
    GROUP BY p_value
    UNION ALL
    SELECT 'restriction', p_value, count(*)
    FROM staging.unit_restriction
    GROUP BY p_value
    UNION ALL
    SELECT 'line', p_value, count(*)
    FROM equipment_line
    WHERE p_value IS NOT NULL
    GROUP BY p_value
),

ranked AS (
    SELECT
        *,
        sum(n) OVER (PARTITION BY series) AS n_tests,
        sum(n) OVER (PARTITION BY series ORDER BY p_value) AS n_upto
    FROM tested
)

SELECT
    series,
    p_value,
    least(min(p_value * n_tests / n_upto) OVER (PARTITION BY series ORDER BY p_value DESC), 1) AS q_value,
    getvariable('trend_q') AS q_limit
FROM ranked;

-- Of the few p values of rank tests: what the views of units look up.
CREATE OR REPLACE TABLE staging.trend_rate AS
FROM every_rate
WHERE series <> 'line';
