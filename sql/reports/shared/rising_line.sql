-- The lines of units in service whose static rises over both modes' evidence: one row a mode that is judged.
--
-- The level is the mean of the visits since the last work: the line has it at their mean day (level_on). The slope of both
-- modes together (equipment_trend) is shared out by level: under one duct static goes with the airflow squared, so ducts
-- that clog by a tenth raise the static of either mode by a tenth of what it is, and the mode that moves less air rises
-- less. Weighted by their visits, the modes' slopes have the common slope as their mean.
--
-- The line is at the rating where level + slope x years is. Earliest and latest: between them the rating lies within the
-- line's 95 % interval, whose half width is the root of the summed squares of the level's own, and of the slope's times the
-- years from the mean day (Fieller 1954; level and slope of such a line are uncorrelated). No latest: the lower end of
-- the slope does not rise, or a century; no earliest: and the level is too near the rating besides.
WITH rising AS (
    SELECT
        t.equipment_id,
        t.slope_inwc_per_year,
        (t.slope_hi - t.slope_lo) / 2 AS common_half
    FROM equipment_trend AS t
    WHERE
        t.trend = 'rising'
        AND t.equipment_id IN (SELECT e.equipment_id FROM equipment_static AS e WHERE e.in_service)
),

counted AS (
    SELECT *
    FROM site_static
    WHERE equipment_id IN (SELECT rising.equipment_id FROM rising)
),

of_unit AS (
    SELECT
        equipment_id,
        sum(n_visits * level_inwc) / nullif(sum(n_visits), 0) AS mean_inwc
    FROM counted
    WHERE level_inwc IS NOT NULL
    GROUP BY equipment_id
),

line AS (
    SELECT
        s.*,
        date_diff('day', DATE '1970-01-01', s.level_on) / 365.25 AS mean_year,
        s.level_inwc / nullif(o.mean_inwc, 0) AS share,
        r.slope_inwc_per_year * share AS slope,
        r.common_half * share AS slope_half,
        (s.level_hi_inwc - s.level_lo_inwc) / 2 AS level_half,
        s.rated_tesp_inwc - s.level_inwc AS gap,
        pow(slope, 2) - pow(slope_half, 2) AS sure_square,
        sqrt(greatest(pow(gap * slope_half, 2) + pow(level_half, 2) * sure_square, 0)) AS root
    FROM counted AS s
    INNER JOIN rising AS r ON s.equipment_id = r.equipment_id
    INNER JOIN of_unit AS o ON s.equipment_id = o.equipment_id
    WHERE s.static_state <> 'too_few_visits'
),

-- Years from the mean day to the day on which the line is at the rating.
crossed AS (
    SELECT
        *,
        CASE WHEN slope > 0 THEN gap / slope END AS years,
        CASE
            WHEN slope > 0 AND (slope > slope_half OR gap > level_half)
                THEN (pow(gap, 2) - pow(level_half, 2)) / nullif(gap * slope + root, 0)
        END AS years_least,
        CASE WHEN slope > slope_half THEN (gap * slope + root) / sure_square END AS years_most
    FROM line
)

SELECT
    c.site_id,
    c.equipment_id,
    c.mode,
    c.static_state,
    c.level_inwc,
    c.rated_tesp_inwc,
    c.slope AS mode_slope_inwc_per_year,
    c.last_on,
    c.level_inwc + c.slope * (date_diff('day', DATE '1970-01-01', c.last_on) / 365.25 - c.mean_year) AS last_line_inwc,
    -- From the most years over to the most years to come; NULL without a slope.
    c.mean_year + c.years AS crossing_year,
    CASE WHEN c.gap > 0 THEN crossing_day(c.mean_year, 0, 1, c.years) END AS crossing_on,
    -- The earliest day may lie before the mean day.
    CASE
        WHEN crossing_on IS NOT NULL
            THEN crossing_day(c.mean_year + if(c.years_least < 0, c.years_least, 0), 0, 1, if(c.years_least < 0, 0, c.years_least))
    END AS crossing_earliest_on,
    CASE WHEN crossing_on IS NOT NULL THEN crossing_day(c.mean_year, 0, 1, c.years_most) END AS crossing_latest_on,
    CASE
        WHEN c.gap <= 0 THEN 'over'
        WHEN crossing_on <= p.today THEN 'passed'
        WHEN crossing_on > p.today THEN 'will_pass'
        ELSE 'not_told'
    END AS passes
FROM crossed AS c
CROSS JOIN publication AS p
