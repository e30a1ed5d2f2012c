-- What the trends of a unit are made of: its level visits with the TESP and the restriction at the design airflow, of the
-- equipment whose visits are enough for a trend, its modes together. A fan set to another tap moves the TESP and not the
-- restriction; a duct that clogs or is opened moves both.
CREATE OR REPLACE TEMP TABLE series_visit AS
WITH enough AS (
    SELECT unit_no // 2 AS equipment_no
    FROM level_centre
    GROUP BY equipment_no
    HAVING
        sum(n) >= getvariable('trend_min_visits')
        AND date_diff('day', min(first_on), max(last_on)) >= getvariable('trend_min_span_days')
)

SELECT
    unit_no,
    unit_no // 2 AS equipment_no,
    visited_on,
    at_year,
    tesp_inwc,
    CASE WHEN airflow_ratio > 0 THEN tesp_inwc / pow(airflow_ratio, getvariable('duct_exponent')) END AS restriction_inwc,
    measurer,
    measurer_variance,
    offset_corrected
FROM level_visit
WHERE unit_no // 2 IN (SELECT equipment_no FROM enough)
ORDER BY unit_no, at_year;
