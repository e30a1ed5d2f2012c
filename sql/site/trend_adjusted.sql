-- False discovery rates of the trends over the fleet (Benjamini and Hochberg 1995); each series is a family of its own,
-- and so are the equipment's lines. `number` is that of the unit, or of the equipment.
CREATE OR REPLACE TEMP TABLE trend_adjusted AS
WITH tested AS (
    SELECT series, unit_no AS number, p_value
    FROM series_test
    UNION ALL
    SELECT 'line' AS series, equipment_no AS number, p_value
    FROM trend_test
),

ranked AS (
    SELECT
        *,
        count(*) OVER (PARTITION BY series) AS family,
        row_number() OVER (PARTITION BY series ORDER BY p_value, number) AS place_in_family
    FROM tested
)

SELECT
    series,
    number,
    least(1, min(p_value * family / place_in_family) OVER (PARTITION BY series ORDER BY place_in_family DESC))
        AS q_value
FROM ranked;
