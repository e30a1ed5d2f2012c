-- Each work on ducts, filter cabinet, coil, blower or fan speed, and whether anyone measured like new afterwards in
-- time. Not yet due: the time is not over on the reference day (what a later day moves: pipeline/day/touched.py).
CREATE OR REPLACE TABLE work_follow_up AS
WITH measured AS (
    SELECT w.work_id, min(v.visited_on) AS measured_on
    FROM work AS w
    INNER JOIN staging.visit_measured AS v
        ON
            w.equipment_id = v.equipment_id
            AND v.like_new
            AND v.visited_on > w.done_on
    GROUP BY w.work_id
)

SELECT
    w.work_id,
    e.site_id,
    s.branch,
    w.equipment_id,
    w.work_kind,
    w.done_on,
    m.measured_on,
    date_diff('day', w.done_on, m.measured_on) AS days_until_measured,
    CASE
        WHEN m.measured_on <= w.done_on + to_days(getvariable('follow_up_days')::INTEGER) THEN 'measured'
        WHEN w.done_on + to_days(getvariable('follow_up_days')::INTEGER) >= getvariable('today') THEN 'not_yet_due'
        WHEN m.measured_on IS NOT NULL THEN 'measured_late'
        ELSE 'not_measured'
    END AS follow_up
FROM work AS w
INNER JOIN equipment AS e USING (equipment_id)
INNER JOIN site AS s USING (site_id)
LEFT JOIN measured AS m USING (work_id)
WHERE starts_stretch(w.work_kind) AND w.work_kind <> 'equipment_replaced' AND w.done_on <= getvariable('today');
