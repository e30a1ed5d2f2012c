-- False discovery rates of the trends (Benjamini and Hochberg 1995), each series a family of its own over the fleet.
CREATE OR REPLACE TEMP TABLE trend_adjusted AS
WITH tested AS (
    SELECT series, equipment_id, mode, p_value
    FROM series_test
    WHERE p_value IS NOT NULL
    UNION ALL
    SELECT 'unit' AS series, equipment_id, NULL AS mode, p_value
    FROM trend_test
    WHERE p_value IS NOT NULL
),

ranked AS (
    SELECT
        *,
        count(*) OVER (PARTITION BY series) AS family,
        row_number() OVER (PARTITION BY series ORDER BY p_value, equipment_id, mode) AS place_in_family
    FROM tested
)

SELECT
    series,
    equipment_id,
    mode,
    least(1, min(p_value * family / place_in_family) OVER (PARTITION BY series ORDER BY place_in_family DESC))
        AS q_value
FROM ranked;
