-- Which stretch between works each visit belongs to: every kind of work but `other` and `filter_changed` starts a
-- new segment; visits on the day of such work belong to none (data contract, "Since the last work").
CREATE OR REPLACE TABLE visit_segment AS
WITH work_day AS (
    SELECT
        equipment_id,
        done_on,
        row_number() OVER (PARTITION BY equipment_id ORDER BY done_on) AS segment
    FROM (
        SELECT DISTINCT equipment_id, done_on
        FROM work
        WHERE work_kind NOT IN ('other', 'filter_changed') AND done_on <= getvariable('today')
    )
),

last_work AS (
    SELECT equipment_id, max(segment) AS last_segment, max(done_on) AS last_work_on
    FROM work_day
    GROUP BY equipment_id
)

SELECT
    v.visit_id,
    coalesce(d.segment, 0) AS segment,
    coalesce(d.done_on = v.visited_on, FALSE) AS on_work_day,
    coalesce(d.segment, 0) = coalesce(l.last_segment, 0) AND NOT coalesce(d.done_on = v.visited_on, FALSE)
        AS since_last_work,
    l.last_work_on
FROM visit_static AS v
ASOF LEFT JOIN work_day AS d ON v.equipment_id = d.equipment_id AND v.visited_on >= d.done_on
LEFT JOIN last_work AS l ON v.equipment_id = l.equipment_id;
