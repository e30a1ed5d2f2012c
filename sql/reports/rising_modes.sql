-- When the modes of chosen units (units) pass the rating, if the rise of both modes together (equipment_trend) goes on: one
-- row a mode that is judged. passes: 'over' (the level is over the rating already), 'passed' (its line is, by the reference
-- day), 'will_pass', or 'not_told' (a century off). The line goes through the level at the middle of the valid like-new visits
-- from the first to the last that count; earliest and latest day: by the ends of the slope's 95 % interval alone.
WITH judged AS (
    SELECT *
    FROM site_static
    WHERE
        equipment_id IN (SELECT unnest(getvariable('units')))
        AND static_state <> 'too_few_visits'
),

middle AS (
    SELECT
        v.equipment_id,
        v.mode,
        median(date_diff('day', DATE '1970-01-01', v.visited_on)) / 365.25 AS middle_year
    FROM visit_reading AS v
    INNER JOIN judged AS s ON v.equipment_id = s.equipment_id AND v.mode = s.mode
    WHERE
        v.equipment_id IN (SELECT unnest(getvariable('units')))
        AND v.valid
        AND v.like_new
        AND v.visited_on BETWEEN s.first_on AND s.last_on
    GROUP BY v.equipment_id, v.mode
)

SELECT
    s.site_id,
    s.equipment_id,
    s.mode,
    s.level_inwc,
    s.rated_tesp_inwc,
    CASE
        WHEN s.level_inwc < s.rated_tesp_inwc AND t.slope_inwc_per_year > 0
            THEN crossing_day(m.middle_year, s.level_inwc, t.slope_inwc_per_year, s.rated_tesp_inwc)
    END AS crossing_on,
    CASE
        WHEN s.level_inwc < s.rated_tesp_inwc AND t.slope_hi > 0
            THEN crossing_day(m.middle_year, s.level_inwc, t.slope_hi, s.rated_tesp_inwc)
    END AS crossing_earliest_on,
    CASE
        WHEN s.level_inwc < s.rated_tesp_inwc AND t.slope_lo > 0
            THEN crossing_day(m.middle_year, s.level_inwc, t.slope_lo, s.rated_tesp_inwc)
    END AS crossing_latest_on,
    CASE
        WHEN s.level_inwc >= s.rated_tesp_inwc THEN 'over'
        WHEN crossing_on <= p.today THEN 'passed'
        WHEN crossing_on > p.today THEN 'will_pass'
        ELSE 'not_told'
    END AS passes
FROM judged AS s
INNER JOIN equipment_trend AS t ON s.equipment_id = t.equipment_id
INNER JOIN middle AS m ON s.equipment_id = m.equipment_id AND s.mode = m.mode
CROSS JOIN publication AS p
ORDER BY s.equipment_id ASC, s.mode ASC;
