-- Units whose static rises over both modes' evidence; top rows. First those that are over the rating by a line although
-- none of their levels is chronic, for no other list says so; then the chronic ones; then those whose line passes the
-- rating soonest (shared/rising_line.sql); last those without a judged mode. The mode whose line is at the rating first
-- speaks for its unit.
WITH rising AS (
    SELECT *
    FROM equipment_trend
    WHERE
        trend = 'rising'
        AND equipment_id IN (SELECT e.equipment_id FROM equipment_static AS e WHERE e.in_service)
),

first_mode AS (
    SELECT
        *,
        bool_or(static_state = 'chronic') OVER of_unit AS is_chronic,
        bool_or(passes IN ('over', 'passed')) OVER of_unit AS is_over
    FROM memory.rising_line
    WINDOW of_unit AS (PARTITION BY equipment_id)
    QUALIFY row_number() OVER (PARTITION BY equipment_id ORDER BY crossing_year ASC NULLS LAST, mode ASC) = 1
),

placed AS (
    SELECT
        r.site_id,
        r.equipment_id,
        r.n_visits,
        r.span_days,
        r.slope_inwc_per_year,
        r.slope_lo,
        r.slope_hi,
        r.q_value,
        l.* EXCLUDE (site_id, equipment_id, is_chronic, is_over),
        CASE
            WHEN l.equipment_id IS NULL THEN 4
            WHEN l.is_chronic THEN 2
            WHEN l.is_over THEN 1
            ELSE 3
        END AS place
    FROM rising AS r
    LEFT JOIN first_mode AS l ON r.equipment_id = l.equipment_id
),

-- Not by windows over all rows, which take far longer.
counted AS (
    SELECT
        count(*) FILTER (WHERE place = 1) AS n_over_by_line,
        count(*) AS n_rising
    FROM placed
),

listed AS (
    SELECT
        *,
        row_number() OVER (ORDER BY place, crossing_year ASC NULLS LAST, equipment_id ASC) AS line_number
    FROM placed
    QUALIFY line_number <= getvariable('top')
)

SELECT
    t.line_number,
    t.site_id,
    site.site_label[:200] AS site_label,
    site.branch,
    t.equipment_id,
    e.equipment_kind,
    t.n_visits,
    t.span_days,
    t.slope_inwc_per_year,
    t.slope_lo,
    t.slope_hi,
    t.q_value,
    t.mode AS first_mode,
    t.static_state,
    t.level_inwc,
    t.rated_tesp_inwc,
    t.last_on,
    t.last_line_inwc,
    t.passes,
    t.crossing_on,
    t.crossing_earliest_on,
    t.crossing_latest_on,
    t.place = 1 AS is_over_by_line,
    counted.n_over_by_line,
    counted.n_rising
FROM listed AS t
CROSS JOIN counted
LEFT JOIN equipment AS e ON t.equipment_id = e.equipment_id
LEFT JOIN site ON t.site_id = site.site_id
ORDER BY t.line_number;
