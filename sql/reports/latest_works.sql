-- The latest works that were measured after: plain means of the valid like-new visits before and after, in one mode, between
-- the neighbouring works. As for work_effect the last day of visits before the work is no baseline, for it triggered the
-- work. Latest first; top works, a row for each mode that was measured after. same_day: the other kinds that begin a new
-- stretch and were done that day, '+' between them; the shift is of all of them. n_waiting: works on units in service whose
-- time to be measured is not over. Of the large table of readings only those of these units are read.
WITH latest AS (
    SELECT f.*
    FROM work_follow_up AS f
    WHERE
        f.follow_up IN ('measured', 'measured_late')
        -- One that was measured after the next work only has no visits of its own.
        AND NOT EXISTS (
            SELECT 1
            FROM work AS o
            WHERE
                f.equipment_id = o.equipment_id
                AND starts_stretch(o.work_kind)
                AND o.done_on > f.done_on
                AND o.done_on <= f.measured_on
        )
    ORDER BY f.done_on DESC, f.work_id ASC
    LIMIT getvariable('top')
),

done AS (
    SELECT
        l.work_id,
        l.equipment_id,
        l.done_on,
        max(o.done_on) FILTER (WHERE o.done_on < l.done_on) AS previous_on,
        min(o.done_on) FILTER (WHERE o.done_on > l.done_on) AS next_on,
        string_agg(DISTINCT o.work_kind, '+' ORDER BY o.work_kind ASC)
        FILTER (WHERE o.done_on = l.done_on AND o.work_kind <> l.work_kind) AS same_day
    FROM latest AS l
    LEFT JOIN work AS o ON l.equipment_id = o.equipment_id AND starts_stretch(o.work_kind)
    GROUP BY l.work_id, l.equipment_id, l.work_kind, l.done_on
),

waiting AS (
    SELECT count(*) AS n_waiting
    FROM work_follow_up
    WHERE follow_up = 'not_yet_due' AND equipment_id NOT IN (SELECT r.equipment_id FROM memory.retired_unit AS r)
),

around AS (
    SELECT
        d.work_id,
        v.mode,
        v.tesp_inwc,
        v.visited_on,
        v.visited_on > d.done_on AS is_after,
        max(v.visited_on) FILTER (WHERE v.visited_on < d.done_on) OVER (PARTITION BY d.work_id) AS trigger_on
    FROM visit_reading AS v
    INNER JOIN done AS d
        ON
            v.equipment_id = d.equipment_id
            AND v.visited_on <> d.done_on
            AND v.visited_on > coalesce(d.previous_on, DATE '0001-01-01')
            AND v.visited_on < coalesce(d.next_on, DATE '9999-12-31')
    WHERE v.equipment_id IN (SELECT latest.equipment_id FROM latest) AND v.valid AND v.like_new
),

by_mode AS (
    SELECT
        work_id,
        mode,
        avg(tesp_inwc) FILTER (WHERE visited_on < trigger_on) AS before_inwc,
        count(*) FILTER (WHERE visited_on < trigger_on) AS n_visits_before,
        avg(tesp_inwc) FILTER (WHERE is_after) AS after_inwc,
        count(*) FILTER (WHERE is_after) AS n_visits_after
    FROM around
    GROUP BY work_id, mode
    HAVING n_visits_after > 0
)

SELECT
    l.work_id,
    l.site_id,
    site.site_label[:200] AS site_label,
    l.branch,
    l.equipment_id,
    l.work_kind,
    d.same_day,
    l.done_on,
    m.mode,
    m.before_inwc,
    m.n_visits_before,
    m.after_inwc,
    m.n_visits_after,
    m.after_inwc - m.before_inwc AS shift_inwc,
    s.rated_tesp_inwc,
    CASE WHEN d.next_on IS NULL THEN a.visits_needed END AS visits_needed,
    waiting.n_waiting
FROM latest AS l
CROSS JOIN waiting
INNER JOIN done AS d ON l.work_id = d.work_id
INNER JOIN by_mode AS m ON l.work_id = m.work_id
LEFT JOIN site ON l.site_id = site.site_id
LEFT JOIN site_static AS s ON l.equipment_id = s.equipment_id AND m.mode = s.mode
LEFT JOIN memory.visits_to_verdict AS a ON l.equipment_id = a.equipment_id AND m.mode = a.mode
ORDER BY l.done_on DESC, l.work_id ASC, m.mode ASC;
